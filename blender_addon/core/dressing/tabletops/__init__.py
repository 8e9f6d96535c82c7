"""Surfaces that a subject can stand on, as meshes with true relief, in millimetres."""
