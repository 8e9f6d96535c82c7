"""Textures and materials of the piece as Blender data, and the user's close-up and reference photos."""
