"""What should no close look show? Filled and cut places, folds and the borders of missing data, and the inside of a vessel."""

from __future__ import annotations

import numpy as np

from ...arrays import Bools, Floats, Ints
from ...mesh.components import connected_vertices
from ...mesh.cut import FILLED
from ...mesh.spikes import folded_faces
from ...mesh.topology import rim_edges
from ...mesh.triangles import TriangleMesh, face_areas
from ..framing import look_along
from ..visible import visible

DOUBTFUL = "doubtful"
"""Face mark of the webs that scans leave between limbs."""
BESIDE = 0.015
"""How near, over the largest extent, to a filled or open place counts as beside it."""
DIRECTIONS = 40
"""Directions, spread evenly over the sphere, in which a point may lie open."""
ENCLOSED = 0.3
"""A place lies inside something if less than this share of the directions that it faces are open: in a boot 0.1 to 0.3, in
folds of cloth and eye sockets more, once averaged with their surroundings."""
TURNED = 0.82
"""Share of the side faces that face away from one vertical axis, from which a piece is a form of revolution."""
LARGE = 0.02
"""Size of a filled hole, over the largest extent, from which its surroundings are left out, too."""
SURROUNDINGS = 0.07
"""Size of the surroundings, over the largest extent, whose mean counts: a fold is narrower than that, a vessel is not."""


def unshown(mesh: TriangleMesh, chosen: Ints, points: Floats, normals: Floats) -> Bools:
    """(k,) bool: which of the points (k, 3), the vertices `chosen` of an upright mesh, no close look is to show.

    normals: (k, 3) outward, of the points.
    """
    size = max(float(np.ptp(points, axis=0).max()), 1e-9)
    bad = np.zeros(len(mesh.vertices), bool)
    large = bad.copy()
    for name in (FILLED, DOUBTFUL):
        marked = mesh.faces[mesh.face_marks[name]] if name in mesh.face_marks else mesh.faces[:0]
        bad[marked] = True
        large[marked[_in_large_patches(mesh, marked, LARGE * size)]] = True
    edges, _ = rim_edges(mesh.faces, len(mesh.vertices))
    large[edges.ravel()] = True
    large[mesh.faces[folded_faces(mesh)]] = True
    found = bad[chosen] | enclosed(points, normals)
    if large.any():
        found |= _near(points, np.asarray(mesh.vertices, float)[large], BESIDE * size)
    axis = turned_axis(mesh)
    return found if axis is None else found | inside_turned(points, normals, axis)


def _in_large_patches(mesh: TriangleMesh, faces: Ints, least: float) -> Bools:
    """(m,) which of some faces (m, 3) belong to a connected patch of at least the area of a square of edge `least`."""
    if not len(faces):
        return np.zeros(0, bool)
    label = connected_vertices(faces, len(mesh.vertices))[faces[:, 0]]
    area = face_areas(np.asarray(mesh.vertices, float), faces)
    return np.bincount(label, area)[label] > least**2


def turned_axis(mesh: TriangleMesh) -> Floats | None:
    """(2,) where the vertical axis of a form of revolution stands; None for any other form."""
    corners = np.asarray(mesh.vertices, float)[mesh.faces]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    level = np.linalg.norm(cross[:, :2], axis=1)
    side = level > 0.5 * np.linalg.norm(cross, axis=1)
    if side.sum() < 12:
        return None
    facing, place, weight = cross[side, :2] / level[side, None], corners[side].mean(axis=1)[:, :2], level[side]
    across = np.stack([-facing[:, 1], facing[:, 0]], axis=1)
    matrix = np.einsum("k,ki,kj->ij", weight, across, across)
    axis = np.linalg.lstsq(matrix, np.einsum("k,ki,k->i", weight, across, (across * place).sum(axis=1)), rcond=None)[0]
    off = place - axis
    outward = np.abs((off * facing).sum(axis=1)) / np.maximum(np.linalg.norm(off, axis=1), 1e-12) > 0.93
    return axis if float(weight[outward].sum() / weight.sum()) > TURNED else None


def inside_turned(points: Floats, normals: Floats, axis: Floats) -> Bools:
    """(k,) which points of a form of revolution face its axis (2,), as the inside of a vessel does."""
    off = points[:, :2] - axis
    radius = np.linalg.norm(off, axis=1)
    inward = (off * normals[:, :2]).sum(axis=1) < -0.3 * radius
    return inward & (radius > 0.05 * max(float(radius.max()), 1e-9))


def _near(points: Floats, places: Floats, reach: float) -> Bools:
    """(k,) which points (k, 3) have one of the places (n, 3) within about `reach`: in the same cell of that size or beside
    it."""
    low = points.min(axis=0) - 2.0 * reach
    stride = np.array([1 << 42, 1 << 21, 1])
    cells = np.unique(np.floor((places - low) / reach).astype(np.int64), axis=0)
    around = np.stack(np.meshgrid(*[np.arange(-1, 2)] * 3, indexing="ij"), axis=-1).reshape(-1, 3)
    wide = np.unique(((cells[:, None] + around) @ stride).ravel())
    return np.isin(np.floor((points - low) / reach).astype(np.int64) @ stride, wide)


def enclosed(points: Floats, normals: Floats) -> Bools:
    """(k,) which points (k, 3) with normals (k, 3) lie inside something: seen from few of the directions that they face."""
    share = openness(points, normals)
    size = SURROUNDINGS * max(float(np.ptp(points, axis=0).max()), 1e-9)
    place = np.floor((points - points.min(axis=0)) / size).astype(np.int64)
    main = np.abs(normals).argmax(axis=1)
    faced = 2 * main + (np.take_along_axis(normals, main[:, None], axis=1)[:, 0] > 0)
    _, cell = np.unique(((place[:, 0] * 512 + place[:, 1]) * 512 + place[:, 2]) * 8 + faced, return_inverse=True)
    cell = cell.reshape(-1)
    members = np.maximum(np.bincount(cell), 1)
    return (np.bincount(cell, share) / members)[cell] < ENCLOSED


def openness(points: Floats, normals: Floats) -> Floats:
    """(k,) 0 to 1: the share of the directions that each point faces in which nothing hides it."""
    step = np.arange(DIRECTIONS) + 0.5
    up = 1.0 - 2.0 * step / DIRECTIONS
    turn = step * np.pi * (3.0 - np.sqrt(5.0))  # the golden angle: evenly spread over the sphere
    level = np.sqrt(1.0 - up * up)
    ways = np.stack([level * np.cos(turn), level * np.sin(turn), up], axis=1)
    middle, far = points.mean(axis=0), 20.0 * max(float(np.ptp(points, axis=0).max()), 1e-9)
    seen, faced = np.zeros(len(points)), np.zeros(len(points))
    for way in ways:
        facing = normals @ way > 0.1
        seen += facing & visible(points, normals, position=middle + far * way, rotation=look_along(-way), cells=70)
        faced += facing
    return np.where(faced > 0, seen / np.maximum(faced, 1), 0.0)
