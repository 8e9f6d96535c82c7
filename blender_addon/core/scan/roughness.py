"""Where does the rougher surface of a thing look? The normals of its points, gathered in cubes."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats

ENOUGH = 4
"""Points that a cube must hold for its roughness to mean anything."""


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


def rough_side(points: Floats, normals: Floats, size: float) -> Floats:
    """(3,) where the rough surface looks more than the whole: the mean normal weighted by roughness less the plain mean, its
    length 0 where roughness has no side."""
    if not len(points) or not size > 0:
        return np.zeros(3)
    mean, rough, count = cells(points, normals, size)
    if not len(count) or not (count * rough).sum() > 0:
        return np.zeros(3)
    return np.asarray(np.average(mean, axis=0, weights=count * rough) - np.average(mean, axis=0, weights=count), float)
