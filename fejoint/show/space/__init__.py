"""The solved joint in 3D."""
