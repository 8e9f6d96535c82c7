"""Plane geometry: convex outlines, the distance of a point to their edges, planes fitted robustly to points."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from ..statistics import NORMAL


def convex_outline(points: Floats) -> Floats:
    """Convex hull (k, 2) of points (n, 2), counter-clockwise (Andrew's monotone chain, 1979)."""
    points = np.unique(_outer(np.asarray(points, float)), axis=0)
    if len(points) < 3:
        return points

    def chain(ordered: Floats) -> list[list[float]]:
        kept: list[list[float]] = []
        for x, y in ordered.tolist():
            while len(kept) >= 2:
                (ax, ay), (bx, by) = kept[-2], kept[-1]
                if (bx - ax) * (y - ay) - (by - ay) * (x - ax) > 0:
                    break
                kept.pop()
            kept.append([x, y])
        return kept[:-1]

    return np.array(chain(points) + chain(points[::-1]))


def _outer(points: Floats) -> Floats:
    """The points that are not well inside the polygon of the extreme points in a few directions (Akl and Toussaint, "A fast
    convex hull algorithm", Information Processing Letters 7, 1978): few of many, and all that can lie on the hull."""
    if len(points) < 100:
        return points
    turn = np.linspace(0.0, 2.0 * np.pi, 24, endpoint=False)
    furthest = (points @ np.stack([np.cos(turn), np.sin(turn)])).argmax(axis=0)
    corners = points[list(dict.fromkeys(furthest.tolist()))]
    if len(corners) < 3:
        return points
    return points[depths_inside(corners, points) < 1e-9 * float(np.abs(points).max())]


def outline_area(outline: Floats) -> float:
    """Area of a counter-clockwise polygon (k, 2), by the shoelace formula."""
    if len(outline) < 3:
        return 0.0
    x, y = outline.T
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def depth_inside(outline: Floats, point: Floats) -> float:
    """Distance of a point (2,) to the nearest edge line of a convex outline, negative when it lies outside."""
    return float(depths_inside(outline, np.asarray(point)[None])[0])


def depths_inside(outline: Floats, points: Floats) -> Floats:
    """The same for many points (n, 2): distances (n,)."""
    depths = np.full(len(points), np.inf if len(outline) >= 3 else -np.inf)
    if len(outline) < 3:
        for corner in outline:
            depths = np.maximum(depths, -np.linalg.norm(points - corner, axis=1))
        return depths
    x, y = points[:, 0], points[:, 1]
    for (ax, ay), (bx, by) in zip(outline, np.roll(outline, -1, axis=0), strict=True):
        length = max(float(np.hypot(bx - ax, by - ay)), 1e-30)
        depths = np.minimum(depths, ((bx - ax) * (y - ay) - (by - ay) * (x - ax)) / length)
    return depths


def fit_plane(points: Floats, weights: Floats) -> tuple[Floats, Floats]:
    """Weighted least-squares plane through points (n, 3): unit normal (3,), sign free, and centre (3,)."""
    total = weights.sum()
    centre = (weights[:, None] * points).sum(axis=0) / total
    away = points - centre
    _, vectors = np.linalg.eigh((away * weights[:, None]).T @ away)
    return vectors[:, 0], centre


def robust_plane(
    points: Floats, weights: Floats, normal: Floats, centre: Floats, reach: float, *, rounds: int = 30
) -> tuple[Floats, Floats, float]:
    """Refine a plane by Tukey's biweight (Beaton and Tukey, Technometrics 16, 1974).

    points: (n, 3). weights: (n,). normal, centre: (3,) the plane to start from. reach: what lies further away never counts.
    rounds: of reweighting, at most. The scale is the weighted median distance x 1.4826, never below a thousandth of the reach;
    the biweight's c is 4.685. Returns the unit normal on the starting side, the centre and the scale.
    """
    scale = reach / 4.685
    start = normal
    for _ in range(rounds):
        distance = (points - centre) @ normal
        inside = np.abs(distance) < min(4.685 * scale, reach)
        if inside.sum() < 6:
            break
        bell = (1.0 - (distance[inside] / min(4.685 * scale, reach)) ** 2) ** 2 * weights[inside]
        new, centre = fit_plane(points[inside], bell)
        if new @ start < 0:
            new = -new
        near = np.abs((points[inside] - centre) @ new)
        turned = float(np.linalg.norm(np.cross(new, normal)))
        normal = new
        scale = max(NORMAL * weighted_median(near, weights[inside]), 1e-3 * reach)
        if turned < 1e-7:
            break
    return normal, centre, scale


def weighted_median(values: Floats, weights: Floats) -> float:
    """The value at which half of the weight is reached."""
    return weighted_quantile(values, weights, 0.5)


def weighted_quantile(values: Floats, weights: Floats, share: float) -> float:
    """The value at which `share` of the weight is reached."""
    order = np.argsort(values)
    reached = np.cumsum(weights[order])
    place = int(np.searchsorted(reached, share * reached[-1]))
    return float(values[order[min(place, len(order) - 1)]])
