"""Poisson-disk points on a whole mesh, by the package's own throwing and acceptance: to measure these against other libraries.

The tool scatters debris, whose pieces have sizes of their own, by the same two (`core/dressing/debris/layout.py`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from blender_addon.core.mesh.blue_noise import Thrower, accepted

Floats = Ints = Any

ROOM = 0.65
"""Smallest distance over that of the hexagonal packing of the same count. 0.70 is about where random throwing runs dry."""


@dataclass(frozen=True)
class Spread:
    """Points on a surface: places (n, 3), the face each lies on (n,), its barycentrics (n, 3), and the distance kept (n,)."""

    points: Floats
    faces: Ints
    weights: Floats
    reach: Floats


def poisson_points(
    vertices: Floats, faces: Ints, count: int, *, seed: int = 1, density: Floats | None = None, thinnest: float = 0.02,
    rounds: int = 16,
) -> Spread:  # fmt: skip
    """Blue-noise points on a mesh: `count` of them, or fewer where the surface is full.

    Parameters
    ----------
    vertices : (n, 3) any unit. faces : (m, 3).
    density : (n,) how densely points may lie at the vertices, 0 to 1; the distance kept grows as 1/sqrt(density).
    thinnest : density below which the distance grows no more.

    Returns
    -------
    Spread whose points i, j are at least max(reach_i, reach_j) apart, in space. Without a density all reaches are
    0.65 sqrt(2 A / (sqrt(3) count)): hexagonal packing of `count` points on area A, times `ROOM`.
    """
    rng = np.random.default_rng([seed, 7])
    thrower = Thrower(vertices, faces, density)
    if count <= 0 or not len(faces) or thrower.sum[-1] <= 0:
        return Spread(np.zeros((0, 3)), np.zeros(0, np.int64), np.zeros((0, 3)), np.zeros(0))
    unit = ROOM * np.sqrt(2 * thrower.integral / (np.sqrt(3) * count))
    kept: list[tuple[Floats, Ints, Floats, Floats]] = []
    points, reach = np.zeros((0, 3)), np.zeros(0)
    for number in range(rounds):
        short = count - len(points)
        wanted = int((1.4 if number == 0 else 3.0 + number) * max(short, count // 12)) + 16
        thrown, face, weights, dense = thrower.throw(wanted, rng)
        radius = unit / np.sqrt(np.maximum(dense, thinnest))
        stays = accepted(thrown, radius, points, reach, together=False)
        kept.append((thrown[stays], face[stays], weights[stays], radius[stays]))
        points, reach = np.concatenate([points, kept[-1][0]]), np.concatenate([reach, kept[-1][3]])
        if len(points) >= count:
            break
    whole = [np.concatenate([part[column] for part in kept])[:count] for column in range(4)]
    return Spread(*whole)
