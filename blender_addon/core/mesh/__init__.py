"""Triangles as arrays. In: vertices, faces, corner values. Out: normals, rims, cuts, closed holes, sampled points."""
