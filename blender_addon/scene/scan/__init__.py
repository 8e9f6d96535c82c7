"""Scan files, their textures and their parts as Blender data."""
