"""Which points of the subject does a camera see? By a coarse depth picture of its own points."""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats
from .framing import project


def visible(
    points: Floats, normals: Floats | None, *, position: Floats, rotation: Floats, cells: int = 80, facing: float = 0.1
) -> Bools:
    """(n,) bool: which points (n, 3) mm face the camera and are the nearest in their cell of a `cells` wide depth picture.

    The points must lie dense enough for the cells (some per cell). A point counts when it is within 1.5 cells of the nearest,
    or as much farther as its own surface falls back over two cells: a table top at a low angle is seen all the same.

    normals: (n, 3) unit; None where they are not known. position: (3,) of the camera, mm. rotation: (3, 3) of the camera.
    facing: least cosine between a normal and the way to the camera.
    """
    slopes, depth = project(points, position, rotation)
    low, high = slopes.min(axis=0), slopes.max(axis=0)
    step = max(float((high - low).max()) / cells, 1e-12)
    column = ((slopes - low) / step).astype(np.int64)
    shape = column.max(axis=0) + 3
    nearest = np.full(int(shape[0] * shape[1]), np.inf)
    flat = (column[:, 0] + 1) * shape[1] + column[:, 1] + 1
    np.minimum.at(nearest, flat, depth)
    grid = nearest.reshape(shape)
    around = grid.copy()
    for axis, shift in ((0, 1), (0, -1), (1, 1), (1, -1)):
        around = np.minimum(around, np.roll(grid, shift, axis) + 2.0 * step * np.median(depth))
    slack: Floats | float = 1.5
    front = depth > 0
    if normals is not None:
        toward = position - points
        toward /= np.linalg.norm(toward, axis=1, keepdims=True)
        cosine = np.einsum("ij,ij->i", normals, toward)
        front &= cosine > facing
        slack = 1.5 + 2.0 * np.sqrt(1.0 - np.clip(cosine, 0.2, 1.0) ** 2) / np.clip(cosine, 0.2, 1.0)
    return front & (depth <= around.reshape(-1)[flat] + slack * step * np.median(depth))
