"""What does a mesh look like from a side, without a renderer? Random points on it are projected; each pixel shows the
nearest."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, Ints
from .triangles import TriangleMesh, face_areas, faces_by_area, unit, weights_within

KEY_LIGHT = np.array([-0.45, -0.65, 0.6])
"""Direction to the light in the view's frame: x right, y away from the eye, z up."""


MOST_MEASURED = 200_000
"""Of a mesh with more faces, a random sample of so many is used: far more than the points asked for."""


def sampled_by_area(mesh: TriangleMesh, count: int, *, seed: int = 1) -> tuple[Ints, Floats]:
    """Faces (count,) drawn by area and barycentric weights (count, 3) within them (Osada et al., ACM TOG 21, 2002)."""
    random = np.random.default_rng(seed)
    some = np.sort(random.integers(0, len(mesh.faces), MOST_MEASURED)) if len(mesh.faces) > MOST_MEASURED else None
    measured = mesh.faces if some is None else mesh.faces[some]
    faces = faces_by_area(np.cumsum(face_areas(mesh.vertices.astype(float), measured)), random.random(count))
    faces = faces if some is None else some[faces]
    return faces, weights_within(random.random(count), random.random(count))


def view(
    points: Floats, normals: Floats, colours: Floats, *, yaw_deg: float = 0.0, tilt_deg: float = 12.0, size: int = 128
) -> Floats:
    """(size, size, 4) picture, row 0 at the bottom, alpha 0 where nothing is, display-encoded values.

    points (n, 3) of an upright object (z up), normals (n, 3), colours (n, 3) in 0 to 1. It is turned clockwise, seen from
    above, by `yaw_deg`, so that what lay that far counter-clockwise from -Y faces the viewer, who looks down by `tilt_deg`.
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
    return _repaired(picture)


def through(
    points: Floats, normals: Floats, colours: Floats, *, position: Floats, rotation: Floats, half: tuple[float, float],
    size: tuple[int, int],
) -> Floats:  # fmt: skip
    """(height, width, 4) opaque picture through a camera, row 0 at the bottom, of points on a table at z = 0.

    points, normals: (n, 3). colours: (n, 3), 0 to 1.
    position, rotation: (3,) and (3, 3; columns right, up, back) of the camera, in the points' unit.
    half: tangents of half its angle of view, across and up. size: width and height in pixels.
    """
    width, height = size
    picture = _ground(rotation, half, size)
    local = (points - position) @ rotation
    depth = -local[:, 2]
    # What faces away can't be seen, and must not shine through between the points before it.
    ahead = (depth > 1e-9) & (np.einsum("ij,ij->i", normals, position - points) > 0.0)
    local, depth = local[ahead], depth[ahead]
    column = np.floor((local[:, 0] / depth / half[0] + 1.0) * 0.5 * width).astype(int)
    row = np.floor((local[:, 1] / depth / half[1] + 1.0) * 0.5 * height).astype(int)
    inside = (column >= 0) & (column < width) & (row >= 0) & (row < height)
    facing = (normals[ahead] @ rotation)[:, [0, 2, 1]] * [1.0, -1.0, 1.0]  # the camera's back is away from the eye, reversed
    light = np.clip(facing @ unit(KEY_LIGHT), 0.0, 1.0) * 0.8 + 0.2
    order = np.flatnonzero(inside)[np.argsort(-depth[inside], kind="stable")]
    seen = np.zeros((height, width, 4), np.float32)
    seen[row[order], column[order], :3] = colours[ahead][order] * light[order, None]
    seen[row[order], column[order], 3] = 1.0
    for _ in range(2):  # a close view has few points a pixel
        seen = _repaired(seen)
    return np.where(seen[..., 3:] > 0.0, seen, picture)


def _ground(rotation: Floats, half: tuple[float, float], size: tuple[int, int]) -> Floats:
    """The table below the horizon and the wall above it, as flat tones."""
    up = ((np.arange(size[1]) + 0.5) / size[1] * 2.0 - 1.0) * half[1]
    across = ((np.arange(size[0]) + 0.5) / size[0] * 2.0 - 1.0) * half[0]
    falling = rotation[2, 0] * across[None, :] + rotation[2, 1] * up[:, None] - rotation[2, 2] < 0.0
    picture = np.ones((size[1], size[0], 4), np.float32)
    picture[..., :3] = np.where(falling, 0.30, 0.16)[..., None]
    return picture


def _repaired(picture: Floats) -> Floats:
    """Single empty pixels among filled ones take the mean of their neighbours."""
    alpha = picture[..., 3]
    total = np.zeros_like(picture)
    for rows in (-1, 0, 1):
        for columns in (-1, 0, 1):
            total += np.roll(picture, (rows, columns), axis=(0, 1))
    gaps = (alpha == 0) & (total[..., 3] >= 5)
    picture[gaps] = total[gaps] / total[gaps, 3:]
    return picture
