"""What does a mesh look like from a side, quickly? Points strewn on its surface, the nearest a pixel shown; no renderer."""

from __future__ import annotations

import numpy as np

from .mesh import Floats, Ints, TriangleMesh, face_crosses, unit

KEY_LIGHT = np.array([-0.45, -0.65, 0.6])
"""Direction to the light in the view's frame: x right, y away from the eye, z up."""


def strewn(mesh: TriangleMesh, count: int, *, seed: int = 1) -> tuple[Ints, Floats]:
    """Faces (count,) drawn by area and barycentric weights (count, 3) within them (Osada et al., ACM TOG 21, 2002)."""
    random = np.random.default_rng(seed)
    areas = 0.5 * np.linalg.norm(face_crosses(mesh.vertices.astype(float), mesh.faces), axis=1)
    reached = np.cumsum(areas)
    faces = np.searchsorted(reached, random.random(count) * reached[-1])
    faces = np.minimum(faces, len(areas) - 1)
    root, other = np.sqrt(random.random(count)), random.random(count)
    return faces, np.stack([1.0 - root, root * (1.0 - other), root * other], axis=1)


def view(
    points: Floats, normals: Floats, colours: Floats, *, yaw_deg: float = 0.0, tilt_deg: float = 12.0, size: int = 128
) -> Floats:
    """(size, size, 4) picture, row 0 at the bottom, alpha 0 where nothing is, values for the screen.

    points (n, 3) of a standing thing (z up), normals (n, 3), colours (n, 3) in 0 to 1. It is turned clockwise seen from above
    by `yaw_deg`, so that what lay that far counter-clockwise from -Y faces the eye, and seen from `tilt_deg` above.
    """
    yaw, tilt = np.radians(-yaw_deg), np.radians(tilt_deg)
    turn = np.array([[np.cos(yaw), -np.sin(yaw), 0.0], [np.sin(yaw), np.cos(yaw), 0.0], [0.0, 0.0, 1.0]])
    lean = np.array([[1.0, 0.0, 0.0], [0.0, np.cos(tilt), -np.sin(tilt)], [0.0, np.sin(tilt), np.cos(tilt)]])
    frame = lean @ turn
    placed, facing = points @ frame.T, normals @ frame.T
    low, high = placed.min(axis=0), placed.max(axis=0)
    step = max(high[0] - low[0], high[2] - low[2]) / (0.9 * size)
    middle = 0.5 * (low + high)
    column = np.clip(np.rint((placed[:, 0] - middle[0]) / step + size / 2), 0, size - 1).astype(int)
    row = np.clip(np.rint((placed[:, 2] - middle[2]) / step + size / 2), 0, size - 1).astype(int)
    light = np.clip(facing @ unit(KEY_LIGHT), 0.0, 1.0) * 0.8 + 0.2
    order = np.argsort(-placed[:, 1], kind="stable")  # far ones first: the last written is the nearest
    picture = np.zeros((size, size, 4), np.float32)
    picture[row[order], column[order], :3] = colours[order] * light[order, None]
    picture[row[order], column[order], 3] = 1.0
    return _mended(picture)


def _mended(picture: Floats) -> Floats:
    """Single empty pixels amid full ones take the mean of their neighbours."""
    alpha = picture[..., 3]
    total = np.zeros_like(picture)
    for rows in (-1, 0, 1):
        for columns in (-1, 0, 1):
            total += np.roll(picture, (rows, columns), axis=(0, 1))
    gaps = (alpha == 0) & (total[..., 3] >= 5)
    picture[gaps] = total[gaps] / total[gaps, 3:]
    return picture
