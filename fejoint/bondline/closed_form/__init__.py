"""Published theories of the bondline, one module each: a joint in, the same curves out.

No scikit-fem here: a study by closed forms alone starts without it.
"""
