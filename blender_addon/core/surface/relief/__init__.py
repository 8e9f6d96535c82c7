"""Which relief does a photo texture show that the mesh has lost?

In: textured surfaces and their light.
Out: slopes, heights, the shading that they cause, and how far to believe them.
Order: `recovery` lists its steps in order and calls the others; `finer` is the second pass, `dropped` and `own_map` are for
what a finer scan knew.
"""
