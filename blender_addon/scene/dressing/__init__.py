"""Tabletop, props, debris and lights as Blender data."""
