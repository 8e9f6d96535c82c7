"""How is a scan turned, placed and scaled so that it stands upright? Rotations, footprints, the stand's top, round bases."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from ..mesh.planar import convex_outline
from ..mesh.triangles import TriangleMesh, face_crosses, unit


def rotation_between(start: Floats, end: Floats) -> Floats:
    """The smallest rotation (3, 3) that takes one unit vector to another (Rodrigues); a half turn is made round the x axis
    or, where that is the vector's own, round the y axis."""
    cross = np.cross(start, end)
    cosine = float(start @ end)
    if cosine < -1.0 + 1e-12:
        axis = np.array([1.0, 0.0, 0.0]) if abs(start[0]) < 0.9 else np.array([0.0, 1.0, 0.0])
        axis = unit(axis - (axis @ start) * start)
        return 2.0 * np.outer(axis, axis) - np.eye(3)
    skew = np.array([[0, -cross[2], cross[1]], [cross[2], 0, -cross[0]], [-cross[1], cross[0], 0]])
    return np.eye(3) + skew + skew @ skew / (1.0 + cosine)


def stand_top(mesh: TriangleMesh, *, low: float = 0.02, high: float = 0.6) -> float | None:
    """Height of a stand's upper face over z = 0 in a standing mesh, or None.

    It is the height at which most level, upward area lies, between `low` and `high` of the whole height, provided that this
    area is at least 15 % of the footprint of all below it, and that something rises above it on a smaller footprint.
    """
    crosses = face_crosses(mesh.vertices.astype(float), mesh.faces)
    areas = 0.5 * np.linalg.norm(crosses, axis=1)
    normals = unit(crosses)
    centre_z = mesh.vertices[mesh.faces][..., 2].mean(axis=1).astype(float)
    top = float(mesh.vertices[:, 2].max())
    level = (normals[:, 2] > 0.97) & (centre_z > low * top) & (centre_z < high * top)
    if not level.any():
        return None
    bins = 400
    histogram, edges = np.histogram(centre_z[level], bins=bins, range=(0.0, top), weights=areas[level])
    near = np.convolve(histogram, np.ones(5), mode="same")
    place = int(near.argmax())
    around = level & (np.abs(centre_z - 0.5 * (edges[place] + edges[place + 1])) < 3.0 * top / bins)
    order = np.argsort(centre_z[around])
    reached = np.cumsum(areas[around][order])
    height = float(centre_z[around][order][np.searchsorted(reached, 0.5 * reached[-1])])
    below = np.ptp(mesh.vertices[mesh.vertices[:, 2] < height + 0.01 * top][:, :2], axis=0)
    above = mesh.vertices[mesh.vertices[:, 2] > height + 0.03 * top][:, :2]
    if not len(above) or near[place] < 0.15 * float(np.prod(below)):
        return None
    return height if np.prod(np.ptp(above, axis=0)) < 2.5 * np.prod(below) else None


def fitted_circle(points: Floats) -> tuple[Floats, float]:
    """Centre (2,) and radius of the circle through points (n, 2) by least squares (Kasa 1976)."""
    matrix = np.column_stack([points, np.ones(len(points))])
    solution = np.linalg.lstsq(matrix, (points**2).sum(axis=1), rcond=None)[0]
    centre = solution[:2] / 2.0
    return centre, float(np.sqrt(max(solution[2] + centre @ centre, 0.0)))


def footprint(points: Floats, height: float) -> Floats:
    """Convex outline (k, 2) of what lies below a height of a standing thing, points (n, 3)."""
    return convex_outline(points[points[:, 2] <= height][:, :2])


def rectangle_sides(outline: Floats) -> tuple[float, float]:
    """Long and short side of the smallest rectangle round a convex outline (k, 2); one of its sides runs along an edge
    (Freeman and Shapira, CACM 18, 1975)."""
    along = np.roll(outline, -1, axis=0) - outline
    length = np.linalg.norm(along, axis=1)
    along = along[length > 0] / length[length > 0, None]
    across = np.stack([-along[:, 1], along[:, 0]], axis=1)
    first, second = np.ptp(outline @ along.T, axis=0), np.ptp(outline @ across.T, axis=0)
    best = int(np.argmin(first * second))
    return float(max(first[best], second[best])), float(min(first[best], second[best]))


def round_base(outline: Floats) -> tuple[float, float]:
    """Diameter of the circle through a base's outline (k, 2), and its RMS misfit over the radius.

    The outline is walked in equal steps, so that long edges weigh as much as many short ones.
    """
    following = np.roll(outline, -1, axis=0)
    reached = np.concatenate([[0.0], np.cumsum(np.linalg.norm(following - outline, axis=1))])
    ring = np.concatenate([outline, outline[:1]])
    steps = np.linspace(0.0, reached[-1], 720, endpoint=False)
    walked = np.stack([np.interp(steps, reached, ring[:, axis]) for axis in range(2)], axis=1)
    centre, radius = fitted_circle(walked)
    misfit = float(np.sqrt(np.mean((np.linalg.norm(walked - centre, axis=1) - radius) ** 2)))
    return 2.0 * radius, misfit / max(radius, 1e-30)
