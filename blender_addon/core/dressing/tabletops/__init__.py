"""Surfaces that a subject can stand on, as meshes with real relief, in mm.

In: their extent, what lies on them, a seed.
Out: a mesh for each, its top about z = 0.
Order: `grid` serves all; `horizon` says where one ends; `backdrop` stands behind.
"""
