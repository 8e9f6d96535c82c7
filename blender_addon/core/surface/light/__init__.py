"""The light of the room that is in a texture.

In: normals, visibility, texels.
Out: an environment, the irradiance that it gives, and whether there is such a light at all.
Order: `visibility`, `light`, `lamplight`, `evidence`.
"""
