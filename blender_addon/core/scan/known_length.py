"""How many millimetres is a scan unit? From one length that someone measured."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats
from ..mesh.triangles import TriangleMesh
from ..records import record
from .upright import footprint, rectangle_sides, round_base, stand_top

ROUND = 0.03
"""RMS misfit over the radius up to which a base counts as round: common practice for thrown and turned bases."""


class NotMeasurable(ValueError):
    """The known length can't be found on the scan; the message says why and what to do."""


@record
class Standing:
    """A standing scan in its own unit: `mesh`, the points (n, 3) that count for extents (no spikes), and a matrix (4, 4) from
    the scan's own coordinates."""

    mesh: TriangleMesh
    points: Floats
    matrix: Floats


def whole_height(standing: Standing) -> float:
    """From the support to the top."""
    return float(standing.points[:, 2].max())


def piece_height(standing: Standing) -> float:
    """From the stand's upper face to the top."""
    over = stand_top(standing.mesh)
    if over is None:
        raise NotMeasurable('no stand was found under the piece; give the height of the whole (of = "whole")')
    return whole_height(standing) - over


def longest_side(standing: Standing) -> float:
    """The longest of height, width and depth."""
    return float(np.ptp(standing.points, axis=0).max())


def width(standing: Standing) -> float:
    """From left to right, seen from the front."""
    return float(np.ptp(standing.points[:, 0]))


def _base(standing: Standing) -> Floats:
    top = stand_top(standing.mesh)
    height = whole_height(standing)
    outline = footprint(standing.points, top if top is not None else 0.05 * height)
    if len(outline) < 3:
        raise NotMeasurable("it stands on a point or an edge, which has no such length; give another known length")
    return outline


def stand_length(standing: Standing) -> float:
    """The long side of the smallest rectangle round the stand, or round the lowest part where no stand is seen."""
    return rectangle_sides(_base(standing))[0]


def disc_diameter(standing: Standing) -> float:
    """Diameter of the round stand."""
    diameter, misfit = round_base(_base(standing))
    if misfit > ROUND:
        raise NotMeasurable(f"the base is not round (off by {100.0 * misfit:.0f} % of its radius); give another known length")
    return diameter


def between(first: ArrayLike, second: ArrayLike) -> float:
    """Distance of two points in the scan's own coordinates."""
    gap = float(np.linalg.norm(np.asarray(first, float) - np.asarray(second, float)))
    if not gap > 0:
        raise NotMeasurable("the two points are one and the same; pick two that lie apart")
    return gap
