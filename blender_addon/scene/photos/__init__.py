"""Reads a folder of photographs through Blender, one after the other, and evaluates them in threads."""
