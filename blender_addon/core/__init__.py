"""The numbers behind every step: numpy only, no Blender. Lengths are in mm.

In: arrays and records.
Out: arrays and records.
Order: the modules here serve all rooms; the rooms follow the steps (scan, surface, shots, dressing, delivery), with mesh and
files under all of them and closeups, reference and photos beside.
"""
