"""What a photo texture tells about the surface.

In: geometry and texels in mm.
Out: light, albedo, relief, and the numbers of materials.
Order: `texels` and `patches`; `picture_roles` says which picture is the colour; light/, then relief/, then albedo/; `kinds` and
`reflectance` for materials.
"""
