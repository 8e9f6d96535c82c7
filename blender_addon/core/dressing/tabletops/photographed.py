"""A tabletop and a backdrop covered by the user's photograph: flat, at the size that the photograph shows. Lengths in mm."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...mesh.triangles import TriangleMesh
from .grid import Extent, Tabletop, lines, sheet

THICKNESS = 20.0
"""Of the board, mm: a usual one (common practice)."""
SUNK = 0.35
"""Share of a backdrop's height that lies under the table's level, where its far edge covers it."""


def photo_top(extent: Extent) -> Tabletop:
    """A flat board of the extent; its material maps the photograph onto it by position in mm."""
    xs = lines(-extent.width / 2, extent.width / 2, reach=extent.reach, fine=4.0 * extent.fine, coarse=extent.coarse)
    ys = lines(extent.near_y, extent.far_y, reach=extent.reach, fine=4.0 * extent.fine, coarse=extent.coarse)
    x, y = np.meshgrid(xs, ys)
    return Tabletop(sheet(x, y, np.zeros(x.shape), {}, skirt=THICKNESS), "photo", THICKNESS)


def photo_wall(size: tuple[float, float], ahead: Floats, distance: float) -> TriangleMesh:
    """An upright plane of a width and a height, across a level direction (2,) at a distance from the middle, with its UVs."""
    way = np.asarray(ahead, float) / max(float(np.linalg.norm(ahead)), 1e-12)
    aside = 0.5 * size[0] * np.array([way[1], -way[0]])
    corners = np.array([
        [*(distance * way + side * aside), (up - SUNK) * size[1]] for side, up in ((-1, 0), (1, 0), (1, 1), (-1, 1))
    ])  # fmt: skip
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    uv = np.array([[0.0, 0.0], [1.0, 0.0], [1.0, 1.0], [0.0, 1.0]], np.float32)
    return TriangleMesh(corners, faces, uv=uv[faces])
