"""Which places of a form are salient? Those that curve differently from their surroundings: an eye, a beak, an ear, a rim."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats

SCALES = 1.0 / 60.0, 1.0 / 35.0, 1.0 / 20.0
"""Sizes of the features looked for, as shares of the subject's largest extent."""


def saliency(points: Floats, normals: Floats) -> Floats:
    """(n,) saliency of each point (n, 3) with its normal (n, 3), 0 or more; about 1 at the strongest twentieth.

    At each scale the bulge round a point is compared with the bulge of twice the width round it, the centre-surround
    difference of Lee, Varshney and Jacobs, *Mesh saliency*, ACM TOG 24, 2005, there on mean curvature; here the bulge is how
    far a point lies out of the mean of its surroundings along its normal, which needs no mesh.
    """
    points = np.asarray(points, float)
    extent = float(np.ptp(points, axis=0).max())
    total = np.zeros(len(points))
    if not extent > 0.0:
        return total
    for share in SCALES:
        near, wide = (_bulge(points, normals, factor * share * extent) for factor in (1.0, 2.0))
        found = np.abs(near - wide)
        strong = float(np.percentile(found, 95))
        if strong > 1e-9:
            total += np.minimum(found / strong, 1.5)
    return total / len(SCALES)


def _bulge(points: Floats, normals: Floats, width: float) -> Floats:
    """(n,) how far each point lies out of the mean of its surroundings of `width` along its normal, over that width."""
    cell = 0.5 * width
    place = (points - points.min(axis=0)) / cell + 3.0
    corner = np.floor(place).astype(np.int64)
    shape = corner.max(axis=0) + 5
    flat = (corner[:, 0] * shape[1] + corner[:, 1]) * shape[2] + corner[:, 2]
    size = int(np.prod(shape))
    sums = [np.bincount(flat, weights, size).reshape(shape) for weights in (None, *points.T)]
    count, x, y, z = (_blurred(np.asarray(plane, float)).reshape(-1)[flat] for plane in sums)
    mean = np.stack([x, y, z], axis=1) / np.maximum(count, 1e-12)[:, None]
    return np.einsum("ij,ij->i", points - mean, normals) / width


def _blurred(grid: Floats) -> Floats:
    """A binomial blur over seven cells along each axis: a standard deviation of 1.2 cells."""
    kernel = np.array([1.0, 6.0, 15.0, 20.0, 15.0, 6.0, 1.0]) / 64.0
    for axis in range(3):
        grid = sum(weight * np.roll(grid, shift, axis) for weight, shift in zip(kernel, range(-3, 4), strict=True))
    return grid
