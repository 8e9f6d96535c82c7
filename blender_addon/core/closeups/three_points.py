"""From where are three known points seen in three given directions? Up to four camera poses (the P3P problem).

Grunert's solution of 1841 as Haralick, Lee, Ottenberg and Noelle give it (Review and Analysis of Solutions of the Three Point
Perspective Pose Estimation Problem, IJCV 13, 1994, section 3.1): a quartic in the ratio of two of the distances.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from .camera import nearest_rotation


def places_of_three(points: Floats, bearings: Floats) -> list[tuple[Floats, Floats]]:
    """[(rotation (3, 3), place (3,))]: cameras in which `points` (3, 3) mm appear along unit `bearings` (3, 3) of the camera.

    An empty list where the points lie on a line or the bearings coincide.
    """
    a2, b2, c2 = (float(np.sum((points[i] - points[j]) ** 2)) for i, j in ((1, 2), (0, 2), (0, 1)))
    cos_a, cos_b, cos_c = (float(bearings[i] @ bearings[j]) for i, j in ((1, 2), (0, 2), (0, 1)))
    if min(a2, b2, c2) < 1e-12 or np.linalg.norm(np.cross(points[1] - points[0], points[2] - points[0])) < 1e-9 * b2:
        return []
    found = []
    for v in _ratios(a2, b2, c2, cos_a, cos_b, cos_c):
        under = 1.0 + v * v - 2.0 * v * cos_b
        below = 2.0 * (cos_c - v * cos_a)
        if under <= 0 or abs(below) < 1e-12:
            continue
        d = (a2 - c2) / b2
        u = ((d - 1.0) * v * v - 2.0 * d * cos_b * v + 1.0 + d) / below
        first = np.sqrt(b2 / under)
        if u > 0 and v > 0:
            found.append(_placed(points, bearings * np.array([first, u * first, v * first])[:, None]))
    return found


def _ratios(a2: float, b2: float, c2: float, cos_a: float, cos_b: float, cos_c: float) -> Floats:
    """The real roots v, third distance over first."""
    d, s = (a2 - c2) / b2, (a2 + c2) / b2
    terms = [
        (d - 1.0) ** 2 - 4.0 * c2 / b2 * cos_a**2,
        4.0 * (d * (1.0 - d) * cos_b - (1.0 - s) * cos_a * cos_c + 2.0 * c2 / b2 * cos_a**2 * cos_b),
        2.0 * (
            d * d - 1.0 + 2.0 * d * d * cos_b**2 + 2.0 * (b2 - c2) / b2 * cos_a**2 - 4.0 * s * cos_a * cos_b * cos_c
            + 2.0 * (b2 - a2) / b2 * cos_c**2
        ),
        4.0 * (-d * (1.0 + d) * cos_b + 2.0 * a2 / b2 * cos_c**2 * cos_b - (1.0 - s) * cos_a * cos_c),
        (1.0 + d) ** 2 - 4.0 * a2 / b2 * cos_c**2,
    ]  # fmt: skip
    roots = np.roots(terms)
    return np.asarray(roots.real[np.abs(roots.imag) < 1e-6 * (1.0 + np.abs(roots.real))])


def _placed(points: Floats, seen: Floats) -> tuple[Floats, Floats]:
    """The rotation and place by which points (n, 3) lie at `seen` (n, 3) of the camera (Kabsch 1976)."""
    middle, middle_seen = points.mean(axis=0), seen.mean(axis=0)
    rotation = nearest_rotation((seen - middle_seen).T @ (points - middle))
    return rotation, middle - rotation.T @ middle_seen
