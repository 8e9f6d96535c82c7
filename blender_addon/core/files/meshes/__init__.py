"""Mesh files as bytes: are they complete and valid, and which files do they name?

In: files.
Out: problems in words, the files that they name, and copies that Blender's importer reads whole.
Order: `mesh_files` asks the module of each format; `*_check` before `*_copy`.
"""
