"""Two scans made ready to be compared: their surfels, targets and trees, and what a pose of one on the other is worth."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from ..mesh import Floats
from ..similarity import Similarity
from .batch import Target
from .evidence import Evidence, Nearest, weigh
from .surfels import Surfels

Tree = Callable[[Floats], Nearest]
"""From points (n, 3) to the question which of them is nearest."""


@dataclass(frozen=True)
class Scans:
    """Two scans made ready: all surfels, those of the moving one that were seen, batch targets, trees.

    partial: the moving scan is a part of what the fixed one shows. size: a length for the moving scan in the fixed unit's
    order of magnitude is not known, so reaches are taken from the fixed one's.
    """

    fixed: Surfels
    moving: Surfels
    seen: Surfels
    target: Target
    back: Target
    nearest: Nearest
    nearest_back: Nearest
    partial: bool

    @staticmethod
    def of(fixed: Surfels, moving: Surfels, tree: Tree, *, partial: bool) -> Scans:
        """From surfels in random order, as `sample_surfels` gives them."""
        seen = moving.part(~moving.rim) if (~moving.rim).mean() > 0.3 else moving
        return Scans(
            fixed, moving, seen, Target.of(fixed.part(np.arange(min(9000, len(fixed))))),
            Target.of(moving.part(np.arange(min(6000, len(moving))))), tree(fixed.points), tree(moving.points), partial,
        )  # fmt: skip

    def fixed_part(self, count: int) -> Surfels:
        """The first few of what was seen of the fixed scan."""
        seen = np.flatnonzero(~self.fixed.rim[: 4 * count])[:count]
        return self.fixed.part(seen if len(seen) > 50 else np.arange(min(count, len(self.fixed))))

    def moving_part(self, count: int) -> Surfels:
        """The first few of what was seen of the moving scan."""
        return self.seen.part(np.arange(min(count, len(self.seen))))


def weighed(scans: Scans, pose: Similarity, tolerance: float, *, points: int = 1000) -> Evidence:
    """The evidence for a pose."""
    return weigh(
        scans.moving, scans.fixed, scans.nearest, scans.nearest_back, pose,
        tolerance=tolerance, partial=scans.partial, points=points,
    )  # fmt: skip


def lying_on(scans: Scans, pose: Similarity) -> tuple[Floats, Floats]:
    """Points and normals of the moving scan, posed, that lie on the fixed one."""
    part = scans.moving_part(3000)
    spots, facing = pose.apply(part.points), pose.turn(part.normals)
    index, far = scans.nearest(spots)
    on = (far < 2.5 * scans.fixed.spacing) & (np.einsum("ij,ij->i", facing, scans.fixed.normals[index]) > 0.5)
    return spots[on], facing[on]
