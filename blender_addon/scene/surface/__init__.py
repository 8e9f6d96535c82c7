"""Textures and materials of the piece as Blender data."""
