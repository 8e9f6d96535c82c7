"""A bar of modelling wax, one end cut and warmed."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import cut_flat, rounded_rectangle, slab
from ....mesh.triangles import TriangleMesh, unit
from ....noise import noise
from ..prop import Prop, assembled

NAME = "wax bar"
TRADES = ("founder",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    long, wide, thick = rng.uniform(60, 90), rng.uniform(20, 26), rng.uniform(12, 16)
    bar = slab(rounded_rectangle(long, wide, 1.5, 5), thick, rounding=1.2, steps=4, dome=np.array([0.1, 0.2, 0.4, 0.6, 0.8]))
    points = np.asarray(bar.vertices, float).copy()
    warm = np.clip((points[:, 0] - 0.2 * long) / (0.3 * long), 0, 1)
    points[:, 2] *= 1 - 0.25 * warm**2
    points += (
        0.5 * warm[:, None] * noise(points[:, 0] / 6, points[:, 1] / 6 + points[:, 2] / 5, seed=int(rng.integers(99)))[:, None]
    )
    normal = unit(np.array([1.0, rng.uniform(-0.4, 0.4), rng.uniform(0.1, 0.5)]))
    cut = cut_flat(TriangleMesh(points, bar.faces), normal, 0.42 * long)
    return assembled(NAME, [(cut, str(rng.choice(["red wax", "brown wax"])))])
