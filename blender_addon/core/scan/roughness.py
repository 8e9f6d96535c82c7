"""Which direction does the rougher surface of a piece face? By the scatter of the normals in cubes."""

from __future__ import annotations

from functools import lru_cache

import numpy as np

from ..arrays import Floats

ENOUGH = 4
"""Least number of points in a cube for a meaningful roughness."""
GRIDS = 8
"""Grids of cubes, each turned another way, over which a rough side is averaged. With one grid the same figure, turned, came out
different by half of what its rough side counts."""


def cells(points: Floats, normals: Floats, size: float) -> tuple[Floats, Floats, Floats]:
    """Of the cubes of that size that hold points enough: mean normal (k, 3), roughness (k,) 0 to 1 (one less the length of the
    mean of the normals), and points (k,). points, normals: (n, 3)."""
    place = np.floor((points - points.min(axis=0)) / size).astype(np.int64)
    span = place.max(axis=0) + 1
    _, cell, count = np.unique(
        (place[:, 0] * span[1] + place[:, 1]) * span[2] + place[:, 2], return_inverse=True, return_counts=True
    )
    total = np.stack([np.bincount(cell.reshape(-1), normals[:, axis]) for axis in range(3)], axis=1)
    length = np.linalg.norm(total, axis=1)
    good = (count >= ENOUGH) & (length > 0)
    return total[good] / length[good, None], 1.0 - length[good] / count[good], count[good].astype(float)


@lru_cache(maxsize=1)
def _turns() -> Floats:
    """(GRIDS, 3, 3) orthogonal matrices spread over all (QR of normal numbers: Stewart, SIAM J. Numer. Anal. 17, 1980)."""
    return np.linalg.qr(np.random.default_rng(1).normal(size=(GRIDS, 3, 3)))[0]


def rough_side(points: Floats, normals: Floats, size: float) -> Floats:
    """(3,) the direction that rough surface faces more than the whole does: the mean normal weighted by roughness less the
    plain mean; its length is 0 where roughness is even."""
    if not len(points) or not size > 0:
        return np.zeros(3)
    return np.asarray(np.mean([_rough_side_in(points @ turn, normals, size) for turn in _turns()], axis=0), float)


def _rough_side_in(points: Floats, normals: Floats, size: float) -> Floats:
    """The same by one grid of cubes; the normals need not be turned with the points (n, 3)."""
    mean, rough, count = cells(points, normals, size)
    if not len(count) or not (count * rough).sum() > 0:
        return np.zeros(3)
    return np.asarray(np.average(mean, axis=0, weights=count * rough) - np.average(mean, axis=0, weights=count), float)
