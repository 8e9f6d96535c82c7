"""Renders and files for the client, made with Blender: stills and their originals, copies, video, asset files."""
