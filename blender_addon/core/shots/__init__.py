"""Where the camera stands and how its lens draws.

In: the subject as points in mm.
Out: shots, framings, focus brackets.
Order: `optics` and `formats` are the lens; `framing` places the camera; `shot_plan` solves each shot; close_looks/ and moves/
build on it.
"""
