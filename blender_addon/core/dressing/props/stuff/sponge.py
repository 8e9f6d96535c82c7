"""A worn sponge, pulled out of shape, full of holes."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import ball, cut_flat
from ....mesh.triangles import TriangleMesh, unit
from ....noise import noise
from ..prop import Prop, assembled

NAME = "sponge"
TRADES = (
    "potter",
    "plaster",
)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    size = np.array([rng.uniform(30, 40), rng.uniform(22, 30), rng.uniform(12, 18)])
    mesh = ball(6)
    p = np.sign(mesh.vertices) * np.abs(mesh.vertices) ** 0.72  # squarer than a ball
    p = p / np.abs(p).max() * size
    low = noise(p[:, 0] / 19, p[:, 1] / 17 + p[:, 2] / 15, seed=int(rng.integers(999)))
    p = p + unit(p) * 2.6 * low[:, None]
    seed = int(rng.integers(999))
    # holes of a few sizes: where two unlike fields are both low
    for scale, depth in ((3.4, 2.6), (1.7, 1.1)):
        a = noise(p[:, 0] / scale + 0.31 * p[:, 2] / scale, p[:, 1] / scale, seed=seed)
        b = noise(p[:, 2] / scale, (p[:, 0] - p[:, 1]) / scale, seed=seed + 7)
        hole = np.clip(-(a + b) - 0.05, 0, 0.7) / 0.7
        p = p - unit(p) * (depth * hole**0.6)[:, None]
        seed += 31
    mesh = cut_flat(TriangleMesh(p, mesh.faces), np.array([0.0, 0.0, -1.0]), 0.72 * size[2])
    return assembled("sponge", [(mesh, "sponge")])
