"""Rendering, and files for the client, from Blender data."""
