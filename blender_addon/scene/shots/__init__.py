"""Cameras of a true macro lens as Blender data.

In: solved shots.
Out: cameras with drivers, and their lens read back.
Order: `cameras` with `lens_drivers`; `subject_points` reads what is planned; the others answer questions and carry moves.
"""
