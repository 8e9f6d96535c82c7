"""Node trees of the materials and of the picture's finish, built in code: one group per file, inputs by name.

In: values and images.
Out: node groups and materials.
Order: `builder`, then kinds/ by `kind`; `materials` puts the whole together, `finish` is the camera's.
"""
