"""Is the finished scan good enough for the pictures asked for?

In: a welded mesh, its picture, the pictures' size.
Out: findings in words: lumps, triangles and texels per pixel, holes, a soft texture.
Order: `patches`, `measuring`, `verdict`.
"""
