"""Surfaces that a subject can stand on, as meshes with real relief, in millimetres."""
