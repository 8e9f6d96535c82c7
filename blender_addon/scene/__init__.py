"""The bridge between the job and Blender's data.

In: what `core` and `job` compute.
Out: Blender data with roles, and what was read from it.
Order: `stage` is what a step sees, `swap` what happens at its end; `meshes`, `images` and `spatial` convert; the rooms follow
the steps, running/ and prints/ serve them all.
"""
