"""Which unknown camera sees six or more spots where they were marked? The direct linear transformation.

Abdel-Aziz and Karara 1971, in the normalised form of Hartley and Zisserman (Multiple View Geometry, 2nd ed., algorithm 7.1 and
section 6.2.4): the 3 x 4 matrix by its singular vector, then taken apart into rotation, place and image distance.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from .camera import PhotoCamera, nearest_rotation

FEWEST = 6
"""Points that eleven unknowns need, at two equations a point."""


def camera_of_many(points: Floats, pixels: Floats, size: tuple[int, int]) -> PhotoCamera | None:
    """The camera of points (n, 3) mm seen at pixels (n, 2), n >= 6; None where they do not determine one (all in one plane)."""
    if len(points) < FEWEST:
        return None
    flat = np.linalg.svd(points - points.mean(axis=0), compute_uv=False)
    if flat[2] < 1e-3 * flat[0]:
        return None
    to_points, here = _levelled(points)
    to_pixels, there = _levelled(pixels - np.array([0.5 * size[0], 0.5 * size[1]]))
    rows = np.zeros((2 * len(points), 12))
    full = np.concatenate([here, np.ones((len(here), 1))], axis=1)
    rows[0::2, 0:4], rows[0::2, 8:12] = full, -there[:, :1] * full
    rows[1::2, 4:8], rows[1::2, 8:12] = full, -there[:, 1:] * full
    matrix = np.linalg.inv(to_pixels) @ np.linalg.svd(rows)[2][-1].reshape(3, 4) @ to_points
    left = matrix[:, :3]
    if np.linalg.det(left) < 0:
        matrix, left = -matrix, -left
    scale = float(np.linalg.norm(left[2]))
    if scale < 1e-12 or abs(np.linalg.det(left)) < 1e-30:
        return None
    matrix, left = matrix / scale, left / scale
    wide, high = (float(np.linalg.norm(np.cross(left[row], left[2]))) for row in (0, 1))
    if min(wide, high) < 1e-9:
        return None
    place = -np.linalg.solve(left, matrix[:, 3])
    distance = float(np.sqrt(wide * high))
    rotation = nearest_rotation(np.stack([left[0] / distance, left[1] / distance, left[2]]))
    camera = PhotoCamera(rotation, place, distance, 0.0, size)
    return camera if (camera.project(points)[1] > 0).mean() > 0.5 else None


def _levelled(values: Floats) -> tuple[Floats, Floats]:
    """(matrix, values) with mean 0 and mean length sqrt(d), homogeneous matrix (d + 1, d + 1)."""
    width = values.shape[1]
    middle = values.mean(axis=0)
    scale = np.sqrt(width) / max(float(np.linalg.norm(values - middle, axis=1).mean()), 1e-12)
    matrix = np.eye(width + 1)
    matrix[:width, :width] *= scale
    matrix[:width, width] = -scale * middle
    return matrix, (values - middle) * scale
