"""A lump of the work's clay: wired off on one side, pressed on another, torn where it was pulled off."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import ball, cut_flat
from ....mesh.triangles import TriangleMesh, unit
from ....noise import layered, noise
from ..prop import Prop, assembled

NAME = "lump"
TRADES = ("potter",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    size = np.array([rng.uniform(18, 28), rng.uniform(15, 21), rng.uniform(12, 17)])
    mesh = ball(6)
    p = np.sign(mesh.vertices) * np.abs(mesh.vertices) ** 0.85 * size
    seed = int(rng.integers(999))
    p = p + unit(p) * (2.4 * noise(p[:, 0] / 15 + p[:, 2] / 21, p[:, 1] / 15 - p[:, 2] / 17, seed=seed))[:, None]
    mesh = TriangleMesh(p, mesh.faces)
    for _ in range(3):
        normal = unit(np.array([*rng.normal(size=2), rng.uniform(0.0, 1.3)]))
        mesh = cut_flat(mesh, normal, float((mesh.vertices @ normal).max()) * rng.uniform(0.62, 0.85))
    p = np.asarray(mesh.vertices)
    torn = np.clip(noise(p[:, 0] / 12, p[:, 1] / 12 + p[:, 2] / 10, seed=seed + 3), 0, 1)
    rough = layered(p[:, 0] / 2.4 + p[:, 2] / 3.1, p[:, 1] / 2.4 - p[:, 2] / 2.7, seed=seed + 5, octaves=3)
    p = p + unit(p) * (1.1 * torn * rough)[:, None]
    mesh = cut_flat(TriangleMesh(p, mesh.faces), np.array([0.0, 0.0, -1.0]), 0.6 * size[2])
    return assembled("lump", [(mesh, "clay")])
