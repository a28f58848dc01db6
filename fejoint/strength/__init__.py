"""Strength: at which load a disbond in the bondline grows."""
