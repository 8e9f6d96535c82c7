"""What is in a file? Formats are read and written as their standards define them, without Blender.

In: paths and bytes.
Out: what is wrong with a file, and which other files it names.
Order: `plain_files` before a file is opened, `whole` for its end, `references` and `texture_names` for what it names; meshes/
and pictures/ for the formats.
"""
