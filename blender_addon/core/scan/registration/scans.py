"""Two scans prepared for comparison: their surfels, nearest points, and the evidence of a pose of one on the other."""

from __future__ import annotations

import numpy as np

from ...arrays import Bools, Floats
from ...mesh.similarity import Similarity
from ...records import record
from .batch import Target
from .evidence import Evidence, Inside, Nearest, weigh
from .near import NearPoints
from .surfels import Surfels

UNKNOWN_DEPTH = 0.04
"""Assumed depth of the solid, as a share of the size, under a surface whose far side was not seen."""


@record
class Scans:
    """Two scans prepared for comparison. The moving scan's unit is unknown: lengths are taken from the fixed one's size.

    fixed, moving: all surfels; seen: those of the moving scan that were truly seen.
    target, back: grids onto the fixed and onto the moving scan, for many poses at once.
    nearest, nearest_back: exact queries onto the same.
    depth, depth_back: as `depth_known` gives them for the fixed and the moving surfels.
    blind: (n,) fixed surfels behind which no far side was seen.
    partial: the moving scan is a part of what the fixed one shows.
    """

    fixed: Surfels
    moving: Surfels
    seen: Surfels
    target: Target
    back: Target
    nearest: Nearest
    nearest_back: Nearest
    depth: Floats
    depth_back: Floats
    blind: Bools
    partial: bool

    @staticmethod
    def of(fixed: Surfels, moving: Surfels, *, partial: bool) -> Scans:
        """From surfels in random order, as `sample_surfels` gives them."""
        seen = moving.part(~moving.rim) if (~moving.rim).mean() > 0.3 else moving
        target, back = Target.of(fixed.part(slice(0, 9000))), Target.of(moving.part(slice(0, 6000)))
        (depth, blind), (depth_back, _) = depth_known(fixed, target), depth_known(moving, back)
        return Scans(
            fixed, moving, seen, target, back, NearPoints(fixed.points, target.grid, spacing=fixed.spacing),
            NearPoints(moving.points, back.grid, spacing=moving.spacing),
            depth, depth_back, blind, partial,
        )  # fmt: skip

    def fixed_part(self, count: int) -> Surfels:
        """The first few of what was seen of the fixed scan."""
        seen = np.flatnonzero(~self.fixed.rim[: 4 * count])[:count]
        return self.fixed.part(seen if len(seen) > 50 else np.arange(min(count, len(self.fixed))))

    def moving_part(self, count: int) -> Surfels:
        """The first few of what was seen of the moving scan."""
        return self.seen.part(np.arange(min(count, len(self.seen))))


def depth_known(surfels: Surfels, target: Target) -> tuple[Floats, Bools]:
    """(n,) depth to which the object is certainly solid under each surfel: to the far side where that was seen, else
    `UNKNOWN_DEPTH`; and (n,) where the far side was not seen.

    A scan with its top cropped away still shows its underside; a point one plate's thickness above that is not inside it.
    """
    cell = float(target.grid.cell)
    deep = np.full(len(surfels), np.inf)
    for step in np.arange(1.0, max(surfels.size / cell, 2.0)):
        open_ones = np.flatnonzero(np.isinf(deep))
        if not len(open_ones):
            break
        origin, inward = surfels.points[open_ones], -surfels.normals[open_ones]
        spots = origin + step * cell * inward
        index = target.grid.nearest(spots)
        met = np.linalg.norm(target.points[index] - spots, axis=1) < 1.2 * cell
        met &= np.einsum("ij,ij->i", target.normals[index], inward) > 0.3
        far = np.einsum("ij,ij->i", target.points[index] - origin, inward)
        deep[open_ones[met]] = np.maximum(far[met], 0.0)
    blind = np.isinf(deep)
    return np.where(blind, UNKNOWN_DEPTH * surfels.size, deep), blind


def weighed(scans: Scans, pose: Similarity, tolerance: float, *, points: int = 1000) -> Evidence:
    """The evidence for a pose (`evidence.weigh`).

    tolerance: distance that noise explains, in the fixed scan's unit. points: how many of each scan are compared.
    """
    return weigh(
        scans.moving, scans.fixed, (scans.nearest, scans.nearest_back), pose,
        Inside(scans.partial, scans.depth, scans.depth_back, scans.blind), tolerance=tolerance, points=points,
    )  # fmt: skip


def lying_on(scans: Scans, pose: Similarity) -> tuple[Floats, Floats]:
    """Points and normals of the moving scan, posed, that lie on the fixed one."""
    part = scans.moving_part(3000)
    spots, facing = pose.apply(part.points), pose.turn(part.normals)
    index, far = scans.nearest(spots)
    on = (far < 2.5 * scans.fixed.spacing) & (np.einsum("ij,ij->i", facing, scans.fixed.normals[index]) > 0.5)
    return spots[on], facing[on]
