"""Is there a table in the scan? A sheet that faces up, with nothing below it and the piece standing on it.

A stand is a body: below its upper face come its sides, and its underside faces down or is open. A table is seen from above
only: its faces look up, nothing of the piece lies lower, and it ends in an open rim. Paper targets may lie on it.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, Ints
from ..mesh.clipping import clipped
from ..mesh.holes import basis
from ..mesh.planar import convex_outline, depths_inside, outline_area, robust_plane, weighted_median
from ..mesh.topology import rim_edges
from ..mesh.triangles import TriangleMesh, face_crosses, faces_by_area, unit
from ..records import record

LEAST_SHARE = 0.04
"""Least share of all surface in a sheet that is cut off as a table."""
MOST_BELOW = 0.15
"""Most area below the sheet, over the sheet's own: the curled edges of a table have less, the sides of a base plate more."""
LEAST_RISE = 0.35
"""Least height of the piece over its footprint's width; a medal, or a relief on its ground, is lower and left alone."""


@record
class Table:
    """A table's plane: `up` (3,) unit, `offset` = up . x on it, `share` of all surface, `noise` (robust standard distance)."""

    up: Floats
    offset: float
    share: float
    noise: float


def find_table(mesh: TriangleMesh, *, tries: int = 400, seed: int = 1) -> Table | None:
    """The table in a scan, or None.

    Planes are proposed by faces drawn by area (RANSAC, Fischler and Bolles, CACM 24, 1981), the one with the most
    upward area close to it refined by a robust fit, and then tested.
    """
    vertices = mesh.vertices.astype(float)
    crosses = face_crosses(vertices, mesh.faces)
    areas = 0.5 * np.linalg.norm(crosses, axis=1)
    normals, centres = unit(crosses), vertices[mesh.faces].mean(axis=1)
    total = float(areas.sum())
    diagonal = float(np.linalg.norm(np.ptp(vertices, axis=0)))
    if not total > 0:
        return None
    random = np.random.default_rng(seed)
    sample = faces_by_area(np.cumsum(areas), random.random(6000))
    left = np.ones(len(sample), bool)
    points, directions = centres[sample], normals[sample]
    starts = random.choice(sample, tries)
    proposals = _smoothed(mesh, crosses)[starts]
    for _ in range(4):
        counts = _agreeing(points[left], directions[left], centres[starts], proposals, 0.006 * diagonal)
        best = int(counts.argmax())
        if counts[best] < LEAST_SHARE * len(sample):
            return None
        up, centre = proposals[best], centres[starts[best]]
        table = _judged(mesh, centres, normals, areas, up, centre, diagonal)
        if table is not None:
            return table
        left &= ~((np.abs((points - centre) @ up) < 0.01 * diagonal) & (directions @ up > 0.8))
    return None


def _smoothed(mesh: TriangleMesh, crosses: Floats) -> Floats:
    """Face normals averaged over the faces that share a vertex: a rough table would propose crooked planes."""
    total = np.zeros((len(mesh.vertices), 3))
    for axis in range(3):
        for corner in range(3):
            total[:, axis] += np.bincount(mesh.faces[:, corner], crosses[:, axis], len(total))
    return unit(total[mesh.faces].sum(axis=1))


def _agreeing(points: Floats, directions: Floats, centres: Floats, ups: Floats, reach: float) -> Ints:
    """How many sample points lie on each proposed plane and face its way."""
    counts = np.zeros(len(centres), int)
    for place, (centre, up) in enumerate(zip(centres, ups, strict=True)):
        counts[place] = int(((np.abs((points - centre) @ up) < reach) & (directions @ up > 0.7)).sum())
    return counts


def _judged(
    mesh: TriangleMesh, centres: Floats, normals: Floats, areas: Floats, up: Floats, centre: Floats, diagonal: float
) -> Table | None:
    near = (np.abs((centres - centre) @ up) < 0.01 * diagonal) & (normals @ up > 0.5)
    up, centre, noise = robust_plane(centres[near], areas[near], up, centre, 0.012 * diagonal)
    height = (centres - centre) @ up
    margin = max(4.0 * noise, 0.002 * diagonal)
    sheet = np.abs(height) < margin
    total = float(areas.sum())
    upward = float(areas[sheet & (normals @ up > 0.5)].sum())
    downward = float(areas[sheet & (normals @ up < -0.5)].sum())
    if upward < LEAST_SHARE * total or downward > 0.1 * upward:
        return None
    above = height > 3.0 * margin
    if not above.any() or areas[above].sum() < 0.02 * total:
        return None
    first, second = basis(up)
    flat = np.stack([centres @ first, centres @ second], axis=1)
    outline = convex_outline(flat[above])
    width = float(np.sqrt(max(outline_area(outline), 1e-30)))
    if float(height.max()) < LEAST_RISE * width:
        return None
    below = height < -2.0 * margin
    if _area_within(flat[below], areas[below], outline) > 0.01 * total or areas[below].sum() > MOST_BELOW * upward:
        return None
    if not _ends_open(mesh, up, centre, 2.0 * margin, normals):
        return None
    return Table(up, float(centre @ up), upward / total, noise)


def _area_within(points: Floats, areas: Floats, outline: Floats) -> float:
    """Area of the faces whose centres lie inside an outline: what a table has below the thing is none of it."""
    if len(points) > 4000:
        step = len(points) // 4000 + 1
        points, areas = points[::step], areas[::step] * step
    return float(areas[depths_inside(outline, points) > 0].sum())


def _ends_open(mesh: TriangleMesh, up: Floats, centre: Floats, reach: float, normals: Floats) -> bool:
    """Whether the sheet has an open rim of its own: it lies in the sheet's plane and the faces along it look up. The lower
    rim of an open-bottomed slab lies a wall's height below the slab's upper face, however rough that is."""
    edges, faces = rim_edges(mesh.faces, len(mesh.vertices))
    if not len(edges):
        return False
    ends = mesh.vertices[edges].astype(float)
    near = np.abs((ends[:, 0] - centre) @ up) < reach
    length = np.linalg.norm(ends[:, 1] - ends[:, 0], axis=1)
    level = near & (normals[faces] @ up > 0.5)
    if near.sum() < 8 or float(length[level].sum()) <= 0.5 * float(length[near].sum()):
        return False
    return weighted_median((ends[near, 0] - centre) @ up, length[near]) > -0.4 * reach


def without_table(mesh: TriangleMesh, table: Table) -> TriangleMesh:
    """The mesh cut just above the table, its new rim let down onto the table's plane so that no height is lost."""
    diagonal = float(np.linalg.norm(mesh.size))
    margin = max(4.0 * table.noise, 0.002 * diagonal)
    cut = clipped(mesh, table.up, table.offset + margin)
    height = cut.vertices.astype(float) @ table.up - table.offset
    rim = np.abs(height - margin) < 1e-5 * diagonal
    vertices = cut.vertices.astype(float)
    vertices[rim] -= height[rim, None] * table.up
    return TriangleMesh(vertices.astype(cut.vertices.dtype), cut.faces, cut.uv, cut.material, cut.colours, cut.face_marks)


def is_bare_sheet(mesh: TriangleMesh) -> bool:
    """Whether the whole scan is one sheet with an open edge, at least 40 times as wide as it is thick: a table with nothing
    on it, or a thing that is a sheet itself."""
    vertices = mesh.vertices.astype(float)
    middle = vertices - vertices.mean(axis=0)
    spread = np.sqrt(np.maximum(np.linalg.eigvalsh(middle.T @ middle / len(middle)), 0.0))
    edges, _ = rim_edges(mesh.faces, len(mesh.vertices))
    return bool(len(edges) >= 8 and spread[0] < spread[1] / 40.0)
