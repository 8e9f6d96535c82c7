"""Renders and files for the client, made with Blender: stills and their originals, video, asset files.

In: the finished scene.
Out: files, each whole or not at all.
Order: `device` and `output` set up, `shot_state` dresses for a shot, `originals` and `kept_pictures` keep; copies/ for the
client.
"""
