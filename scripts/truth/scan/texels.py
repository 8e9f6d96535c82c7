"""Which point of the scan, and which point of the truth, does each texel show?"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy  # noqa: F401 - mathutils can be imported only after bpy
import numpy as np
from mathutils.bvhtree import BVHTree

from blender_addon.core.mesh.triangles import TriangleMesh, unit, vertex_normals

Floats = Any
Ints = Any
REACH = 1.2
"""mm, how far along the scan's normal the truth is looked for."""


@dataclass(frozen=True, eq=False)
class Texels:
    """The covered texels of a scan, t of them, and what they show.

    place: (t,) flat index, row * size + column, row 0 at v = 0. face: (t,) scan face. weights: (t, 3) barycentric in it.
    position, normal: (t, 3) on the scan, mm. truth_face: (t,), -1 where the truth was not found. truth_weights: (t, 3).
    height: (t,) mm from the scan's surface to the truth's along the scan's normal.
    """

    size: int
    place: Ints
    face: Ints
    weights: Floats
    position: Floats
    normal: Floats
    truth_face: Ints
    truth_weights: Floats
    height: Floats

    def full(self, values: Floats, empty: float = 0.0) -> Floats:
        """The values (t, ...) as a raster (size, size, ...)."""
        raster = np.full((self.size * self.size, *values.shape[1:]), empty, values.dtype)
        raster[self.place] = values
        return raster.reshape(self.size, self.size, *values.shape[1:])


def covered(mesh: TriangleMesh, size: int) -> tuple[Ints, Ints, Floats]:
    """Texels whose centre lies in a face: flat index (t,), face (t,), barycentric (t, 3) float32."""
    corners = mesh.uv * size - 0.5
    first = np.clip(np.ceil(corners.min(axis=1) - 1e-6), 0, size - 1).astype(np.int64)
    last = np.clip(np.floor(corners.max(axis=1) + 1e-6), 0, size - 1).astype(np.int64)
    extent = np.maximum(last - first + 1, 0)
    count = extent[:, 0] * extent[:, 1]
    face = np.repeat(np.arange(len(count)), count)
    off = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    x, y = first[face, 0] + off % extent[face, 0], first[face, 1] + off // extent[face, 0]
    a = corners[face, 0]
    edge, other_edge = corners[face, 1] - a, corners[face, 2] - a
    area = edge[:, 0] * other_edge[:, 1] - edge[:, 1] * other_edge[:, 0]
    area = np.where(np.abs(area) < 1e-12, np.inf, area)
    u = ((x - a[:, 0]) * other_edge[:, 1] - (y - a[:, 1]) * other_edge[:, 0]) / area
    v = (edge[:, 0] * (y - a[:, 1]) - edge[:, 1] * (x - a[:, 0])) / area
    hit = (u >= -1e-6) & (v >= -1e-6) & (u + v <= 1 + 1e-6)
    place, index = np.unique((y * size + x)[hit], return_index=True)
    weights = np.stack([1 - u[hit] - v[hit], u[hit], v[hit]], axis=1)[index].astype(np.float32)
    return place, face[hit][index], weights


def texels(mesh: TriangleMesh, truth_vertices: Floats, truth_faces: Ints, size: int) -> Texels:
    """The texels of a scan with UVs and the truth behind each: the first face that looks the scan's way within REACH mm."""
    place, face, weights = covered(mesh, size)
    normals = vertex_normals(mesh.vertices, mesh.faces)
    position = _mixed(mesh.vertices, mesh.faces[face], weights)
    normal = unit(_mixed(normals, mesh.faces[face], weights))
    tree = BVHTree.FromPolygons(truth_vertices.tolist(), truth_faces.tolist(), all_triangles=True)
    found, height = _found(tree, position, normal)
    spot = position + height[:, None] * normal
    truth_weights = barycentric(truth_vertices, truth_faces[np.maximum(found, 0)], spot)
    return Texels(size, place, face, weights, position, normal, found, truth_weights.astype(np.float32), height)


def _found(tree: BVHTree, position: Floats, normal: Floats) -> tuple[Ints, Floats]:
    count = len(position)
    face, height = np.full(count, -1, np.int32), np.zeros(count)
    cast, nearest = tree.ray_cast, tree.find_nearest
    starts = position + REACH * normal
    rows = zip(starts.tolist(), (-normal).tolist(), strict=True)
    for row, (start, way) in enumerate(rows):
        _, facing, index, distance = cast(start, way, 2 * REACH)
        if index is not None and facing[0] * way[0] + facing[1] * way[1] + facing[2] * way[2] < -0.1:
            face[row], height[row] = index, REACH - distance
    for row in np.flatnonzero(face < 0).tolist():
        spot, facing, index, _ = nearest(position[row].tolist(), 1.5 * REACH)
        if index is not None and np.dot(facing, normal[row]) > 0.1:
            face[row], height[row] = index, np.dot(np.array(spot) - position[row], normal[row])
    return face, height


def barycentric(vertices: Floats, corners: Ints, points: Floats) -> Floats:
    """(t, 3) barycentric weights of points near triangles, clipped into them."""
    a = vertices[corners[:, 0]]
    edge, other_edge, off = vertices[corners[:, 1]] - a, vertices[corners[:, 2]] - a, points - a
    oo, ot, tt = (np.einsum("ij,ij->i", p, q) for p, q in ((edge, edge), (edge, other_edge), (other_edge, other_edge)))
    po, pt = np.einsum("ij,ij->i", off, edge), np.einsum("ij,ij->i", off, other_edge)
    safe = np.maximum(oo * tt - ot * ot, 1e-18)
    v, w = (tt * po - ot * pt) / safe, (oo * pt - ot * po) / safe
    weights = np.clip(np.stack([1 - v - w, v, w], axis=1), 0.0, 1.0)
    return weights / weights.sum(axis=1, keepdims=True)


def _mixed(values: Floats, corners: Ints, weights: Floats) -> Floats:
    return sum(values[corners[:, k]] * weights[:, k, None] for k in range(3))


def mixed(values: Floats, corners: Ints, weights: Floats) -> Floats:
    """(t, k) vertex values (n, k) at barycentric weights (t, 3) in the triangles with corners (t, 3)."""
    return _mixed(values, corners, weights)
