"""Reads a folder of photographs through Blender, one after the other, and evaluates them in threads.

In: a folder.
Out: a page and a list beside it.
Order: `reading`, `thumbnails`, `look_over`.
"""
