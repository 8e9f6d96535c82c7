"""Computes convex hulls by Blender's own operator, on a temporary mesh."""

from __future__ import annotations

import bmesh
import numpy as np

from ...core.arrays import Floats, Ints


def hull_triangles(points: Floats) -> Ints:
    """Triangles (m, 3) of the convex hull of points (n, 3), as indices into the points, facing outwards."""
    points = np.asarray(points, float)
    size = float(np.ptp(points, axis=0).max()) or 1.0
    placed = (points - points.mean(axis=0)) / size
    work = bmesh.new()
    try:
        for row in placed.tolist():
            work.verts.new(row)
        work.verts.index_update()
        bmesh.ops.convex_hull(work, input=work.verts, use_existing_faces=False)
        faces = [[corner.index for corner in face.verts] for face in work.faces]
    finally:
        work.free()
    triangles = np.array([face[:3] for face in faces if len(face) == 3] or np.zeros((0, 3)), int)
    for face in faces:
        for extra in range(3, len(face)):  # a hull face with more than three corners is split into a fan
            triangles = np.concatenate([triangles, [[face[0], face[extra - 1], face[extra]]]])
    crosses = np.cross(placed[triangles[:, 1]] - placed[triangles[:, 0]], placed[triangles[:, 2]] - placed[triangles[:, 0]])
    inward = (crosses * placed[triangles].mean(axis=1)).sum(axis=1) < 0
    triangles[inward] = triangles[inward][:, ::-1]
    return triangles
