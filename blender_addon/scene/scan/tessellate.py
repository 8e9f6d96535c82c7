"""Triangulates planar polygons by Blender's constrained Delaunay triangulation."""

from __future__ import annotations

import bpy  # noqa: F401 - mathutils can be imported only after bpy
import numpy as np
from mathutils.geometry import delaunay_2d_cdt

from ...core.arrays import Floats, Ints

INSIDE = 1
"""delaunay_2d_cdt's output of triangles inside the face only."""


def tessellate(points: Floats, outline: int) -> tuple[Floats, Ints] | None:
    """Triangulate the polygon of the first `outline` points (n, 2), using the other points, which lie inside it.

    Returns the given points and (m, 3) counter-clockwise triangles over them; None when the outline crosses or touches itself,
    so that new points would be needed or an edge would be lost.
    """
    points = np.asarray(points, float)
    size = float(np.ptp(points, axis=0).max())
    if not size > 0:
        return None
    placed = (points - points.mean(axis=0)) / size
    border = list(range(outline))
    triangulation = delaunay_2d_cdt(placed.tolist(), [], [border], INSIDE, 1e-9)
    vertices, _, triangles, origins = triangulation[:4]
    if not triangles or len(vertices) > len(points):
        return None
    number = np.full(len(vertices), -1)
    for row, source in enumerate(origins):
        if len(source) != 1:
            return None
        number[row] = source[0]
    triangles = number[np.array([list(face) for face in triangles], int)]
    start, end, other = placed[triangles[:, 0]], placed[triangles[:, 1]], placed[triangles[:, 2]]
    turn = (end - start)[:, 0] * (other - start)[:, 1] - (end - start)[:, 1] * (other - start)[:, 0]
    triangles[turn < 0] = triangles[turn < 0][:, ::-1]
    return (points, triangles) if _holds_outline(triangles, outline) else None


def _holds_outline(triangles: Ints, outline: int) -> bool:
    """Whether each outline edge (i, i + 1) belongs to exactly one triangle."""
    edges = np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]])
    wanted = {(place, (place + 1) % outline) for place in range(outline)}
    run = [tuple(edge) for edge in edges.tolist() if tuple(edge) in wanted]
    return len(run) == outline and len(set(run)) == outline
