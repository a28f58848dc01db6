"""What a person or another program looks at: files, tables, curves, the 3D view."""
