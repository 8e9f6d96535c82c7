"""Which way is up?

In: a mesh and its file's name.
Out: poses in which it could stand, the likeliest first, each with a chance and reasons.
Order: `body`, `rising`, `poses`, `evidence`, `file_axes`, `choosing`.
"""
