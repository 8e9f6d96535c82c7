"""Is there a table in the scan? A sheet that faces up, with nothing below it and the piece standing on it.

A stand is a body: below its upper face come its sides, and its underside faces down or is open. A table is seen from above
only: its faces look up, nothing of the piece lies lower, and it ends in an open rim. Paper targets may lie on it.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..mesh.clipping import clipped
from ..mesh.face_graph import FaceGraph
from ..mesh.holes import basis
from ..mesh.planar import (
    convex_outline,
    depths_inside,
    fit_plane,
    outline_area,
    robust_plane,
    weighted_median,
    weighted_quantile,
)
from ..mesh.topology import rim_edges
from ..mesh.triangles import TriangleMesh, face_crosses, faces_by_area, unit
from ..records import record

LEAST_SHARE = 0.04
"""Least share of all surface in a sheet that is cut off as a table."""
MOST_BELOW = 0.15
"""Most area below the sheet, over the sheet's own: the curled edges of a table have less, the sides of a base plate more."""
LEAST_RISE = 0.35
"""Least height of the piece over its footprint's width; a medal, or a relief on its ground, is lower and left alone."""
FACING, SCANNED = 0.7, 0.15
"""Cosine between a face and a side of a sheet that it belongs to, and the share of all surface from which a side counts as
scanned."""


@record
class Bareness:
    """When a sheet or slab counts as bare. Lengths are over its width, which is the square root of its area, areas are over its
    own. All are guesses, set before any form was tried, but for `most_margin` and `solid_slab`, which were set on a flat tile
    and a cut-out fish of six sets of 23 made-up forms.

    thick: most thickness. high: most height of what lies on it; what stands higher is a piece. margin, most_margin: the least
    height that counts as off the plane where that is even, and where it is uneven. bumps_of_sheet, bumps_of_slab: most
    standard distance from the plane of a table seen from above, and of a slab seen from both sides, which is more likely a
    relief. solid_sheet, solid_slab: least share of the convex outline that is covered; a scan of a table ends raggedly, and
    what was scanned from both sides is a cut-out if it covers less. edge: a strip along the outline in which a sheet may curl
    down, or a slab's edge be rounded. sunk: most area below the plane, as of an inscription; raised, one_raised: most above
    it, in all and in one piece.
    """

    thick: float = 0.3
    high: float = 0.12
    margin: float = 0.004
    most_margin: float = 0.008
    bumps_of_sheet: float = 0.005
    bumps_of_slab: float = 0.003
    solid_sheet: float = 0.7
    solid_slab: float = 0.95
    edge: float = 0.06
    sunk: float = 0.02
    raised: float = 0.1
    one_raised: float = 0.04


BARE = Bareness()


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


def is_bare(mesh: TriangleMesh) -> bool:
    """Whether the whole scan is a level sheet or slab with nothing on it but crumbs: a table alone, or a plain plate.

    It is as flat as a slab is, level on each side that was scanned but for noise and low bumps, of a plain outline, and what
    rises above it is low and makes up little of it. A relief, a coin's head, an inscription, a raised rim or a bowl's curve
    is more than that.
    """
    vertices = mesh.vertices.astype(float)
    crosses = face_crosses(vertices, mesh.faces)
    areas = 0.5 * np.linalg.norm(crosses, axis=1)
    normals, centres = unit(crosses), vertices[mesh.faces].mean(axis=1)
    if not areas.sum() > 0:
        return False
    thin, middle = fit_plane(centres, areas)
    first, second = basis(thin)
    outline = convex_outline(np.stack([vertices @ first, vertices @ second], axis=1))
    area = outline_area(outline)
    width = float(np.sqrt(max(area, 1e-30)))
    sides = [side for side in (thin, -thin) if areas[normals @ side > FACING].sum() > SCANNED * areas.sum()]
    bumps, solid = (BARE.bumps_of_slab, BARE.solid_slab) if len(sides) == 2 else (BARE.bumps_of_sheet, BARE.solid_sheet)
    for up in sides:
        upward = normals @ up > FACING
        plane, centre, noise = robust_plane(centres[upward], areas[upward], up, middle, BARE.thick * width)
        height = (centres - centre) @ plane
        low, high = (weighted_quantile(height, areas, share) for share in (0.002, 0.998))
        margin = float(np.clip(4.0 * noise, BARE.margin * width, BARE.most_margin * width))
        shown = areas * np.maximum(normals @ plane, 0.0)
        if noise > bumps * width or high > BARE.high * width or low < -BARE.thick * width or shown.sum() < solid * area:
            return False
        flat = np.stack([centres @ first, centres @ second], axis=1)
        inside = np.zeros(len(areas), bool)
        off = np.flatnonzero(upward & (height < -margin))
        inside[off] = depths_inside(outline, flat[off]) > BARE.edge * width
        if shown[inside].sum() > BARE.sunk * area or not _crumbs(mesh, height > margin, shown, area):
            return False
    return bool(sides)


def _crumbs(mesh: TriangleMesh, raised: Bools, shown: Floats, area: float) -> bool:
    """Whether the faces (m,) that are raised are no more than crumbs on a table of that area. shown: (m,) areas seen from
    above."""
    if shown[raised].sum() > BARE.raised * area:
        return False
    if not raised.any():
        return True
    part = FaceGraph.of(mesh).components(raised)
    return bool(np.bincount(part[raised], shown[raised]).max() < BARE.one_raised * area)
