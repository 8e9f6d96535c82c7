"""Scan files, their textures and their parts as Blender data.

In: files, or imported objects.
Out: meshes as arrays, pictures by role, queries for `core`.
Order: `import_copies`, `importers`, `laid_out`, `textures`; questions/ for what is not sure; the others serve tools in the
view.
"""
