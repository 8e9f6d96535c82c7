"""Ray casts and nearest-point queries through mathutils' trees, passed to `core` as plain callables on arrays.

A ray costs 2 to 8 microseconds from Python: for millions of rays use a simplified mesh of 20 to 30 thousand vertices.
"""

from __future__ import annotations

import bpy  # noqa: F401 - mathutils can be imported only after bpy
import numpy as np
from mathutils.bvhtree import BVHTree
from mathutils.kdtree import KDTree

from ..core.arrays import AnyArray, Floats, Ints

CHUNK = 20_000
"""Rows that are made Python's numbers at a time, some 2 ms: until then no other thread can go on, such as the window's."""


def _listed(table: AnyArray, kind: type) -> list[list[float]]:
    """The rows of a table (n, k) as lists of numbers of a kind."""
    found: list[list[float]] = []
    for start in range(0, len(table), CHUNK):
        found += np.asarray(table[start : start + CHUNK], kind).tolist()
    return found


class SurfaceQueries:
    """A tree over triangles: vertices (n, 3) float, faces (m, 3) int, in any unit."""

    def __init__(self, vertices: Floats, faces: Ints):
        self._tree = BVHTree.FromPolygons(_listed(vertices, float), _listed(faces, int), all_triangles=True)

    def cast(self, origins: Floats, directions: Floats, far: float = 1e30) -> tuple[Ints, Floats]:
        """First hits of rays: (n,) face index, -1 for none, and (n,) distance, inf for none."""
        count = len(origins)
        face, distance = np.full(count, -1, np.int64), np.full(count, np.inf)
        cast = self._tree.ray_cast
        for place, (origin, direction) in enumerate(
            zip(np.asarray(origins, float).tolist(), np.asarray(directions, float).tolist(), strict=True)
        ):
            _, _, index, far_off = cast(origin, direction, far)
            if index is not None:
                face[place], distance[place] = index, far_off
        return face, distance

    def nearest(self, points: Floats, far: float = 1e30) -> tuple[Floats, Ints, Floats]:
        """Closest surface points: (n, 3) position, (n,) face index (-1 for none in reach), (n,) distance."""
        count = len(points)
        place, face, distance = np.full((count, 3), np.nan), np.full(count, -1, np.int64), np.full(count, np.inf)
        find = self._tree.find_nearest
        for row, point in enumerate(np.asarray(points, float).tolist()):
            position, _, index, far_off = find(point, far)
            if index is not None:
                place[row], face[row], distance[row] = position, index, far_off
        return place, face, distance


class Points:
    """A tree over points (n, 3) float."""

    def __init__(self, points: Floats):
        points = np.asarray(points, float).tolist()
        self._tree = KDTree(len(points))
        for place, point in enumerate(points):
            self._tree.insert(point, place)
        self._tree.balance()

    def nearest(self, queries: Floats) -> tuple[Ints, Floats]:
        """(n,) index of the nearest point and (n,) distance."""
        found = [self._tree.find(point)[1:] for point in np.asarray(queries, float).tolist()]
        index, distance = zip(*found, strict=True) if found else ((), ())
        return np.array(index, np.int64), np.array(distance, float)
