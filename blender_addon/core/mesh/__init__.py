"""Triangles as arrays.

In: vertices, faces, values of corners, vertices and faces.
Out: normals, rims, cuts, closed holes, sampled points, all that a mesh carried kept.
Order: `triangles` first, then `topology` and `rims`; `cut`, `holes` and `polygon` build on them, the others stand alone.
"""
