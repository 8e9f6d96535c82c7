"""A cloth over the bench, flat where the subject stands, with folds that run away from it. Lengths in mm."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ...arrays import Floats
from ...noise import layered, noise, smoothstep
from .grid import Extent, Tabletop, lines, sheet

THICKNESS = 34.0
"""Of the folded cloth, mm: deep enough for its folds."""
USUAL_HEIGHT = 11.0
"""Height, mm, up to which folds have the widths that `_fold` gives; higher ones are wider in proportion."""


def cloth(
    extent: Extent, *, outside: Callable[[Floats], Floats], folds: int = 9, height: float = 11.0, seed: int = 1
) -> Tabletop:
    """A tabletop of cloth.

    outside : distance of places (n, 2) from the subject's foot, mm: there the cloth lies flat.
    folds : how many; height : of the highest, mm.
    """
    rng = np.random.default_rng([seed, 121])
    xs = lines(
        -extent.width / 2, extent.width / 2, reach=2.2 * extent.reach, fine=1.5 * extent.fine, coarse=min(extent.coarse, 7.0)
    )
    ys = lines(extent.near_y, extent.far_y, reach=2.2 * extent.reach, fine=1.5 * extent.fine, coarse=min(extent.coarse, 7.0))
    x, y = np.meshgrid(xs, ys)
    far = outside(np.column_stack([x.ravel(), y.ravel()])).reshape(x.shape)
    z = np.zeros(x.shape)
    for number in range(folds):
        z = z + _fold(x, y, far, extent, height, rng, seed * 71 + number)
    soft = 1.6 * layered(x / 95.0, y / 95.0, seed=seed + 3, octaves=2) + 0.5 * np.abs(
        layered(x / 24.0, y / 24.0, seed=seed + 4, octaves=3)
    )
    z = z + np.maximum(soft, -0.4) * smoothstep(6.0, 70.0, far)
    z = z + 0.10 * layered(x / 13.0, y / 13.0, seed=seed + 5, octaves=3) * smoothstep(0.5, 12.0, far)
    mesh = sheet(x, y, z, {}, skirt=THICKNESS)
    return Tabletop(mesh, "cloth", THICKNESS)


def _fold(x: Floats, y: Floats, far: Floats, extent: Extent, height: float, rng: np.random.Generator, seed: int) -> Floats:
    """One fold: a ridge along a wandering line that starts near the subject's place and runs outwards."""
    heading = rng.uniform(0, 2 * np.pi)
    start = extent.reach * rng.uniform(0.25, 1.1) * np.array([np.cos(heading), np.sin(heading)])
    way = heading + rng.normal(0, 0.55)
    u = (x - start[0]) * np.cos(way) + (y - start[1]) * np.sin(way)
    v = (y - start[1]) * np.cos(way) - (x - start[0]) * np.sin(way)
    v = v - 16.0 * noise(u / 95.0, 0.7, seed=seed) - 4.0 * noise(u / 31.0, 2.7, seed=seed + 1)
    wide = rng.uniform(5.5, 11.0) * (1 + 0.0035 * np.clip(u, 0, 260)) * max(height / USUAL_HEIGHT, 1.0)  # no thin fins
    steep = np.where(v > 0, 1.0, rng.uniform(0.5, 0.8))  # one flank is steeper: cloth leans
    ridge = 1.0 / (1.0 + (v / (wide * steep)) ** 2) ** 1.6
    grown = smoothstep(-8.0, rng.uniform(50, 120), u) * (0.75 + 0.25 * noise(u / 60.0, 5.5, seed=seed + 2))
    free = smoothstep(4.0, 45.0, far)
    return height * rng.uniform(0.3, 1.0) * ridge * grown * free
