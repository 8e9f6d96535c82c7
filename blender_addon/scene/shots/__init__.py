"""Cameras of a true macro lens as Blender data."""
