"""Before the analysis: does the adhesive wet, how thin does it squeeze, when is it cured, how is the surface prepared."""
