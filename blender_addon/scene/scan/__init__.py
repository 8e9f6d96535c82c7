"""Scan files, their textures and their parts as Blender data: import, textures, alignment, parts, and questions on them."""
