"""A broken piece of a plaster mould, one side cast smooth."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import ball, cut_flat
from ....mesh.triangles import TriangleMesh, unit
from ....noise import layered
from ..prop import Prop, assembled

NAME = "plaster piece"
TRADES = ("plaster",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    size = np.array([rng.uniform(22, 32), rng.uniform(16, 24), rng.uniform(11, 16)])
    mesh = ball(6)
    p = np.sign(mesh.vertices) * np.abs(mesh.vertices) ** 0.8 * size
    mesh = TriangleMesh(p, mesh.faces)
    for _ in range(4):
        normal = unit(np.array([*rng.normal(size=2), rng.uniform(-0.2, 0.6)]))
        mesh = cut_flat(mesh, normal, float((mesh.vertices @ normal).max()) * rng.uniform(0.6, 0.8))
    p = np.asarray(mesh.vertices)
    seed = int(rng.integers(999))
    broken = p[:, 0] > -0.3 * size[0]
    rough = layered(p[:, 0] / 3.1 + p[:, 2] / 2.7, p[:, 1] / 2.9 - p[:, 2] / 3.3, seed=seed, octaves=4)
    p = p + unit(p) * (0.9 * broken * rough)[:, None]
    mesh = cut_flat(TriangleMesh(p, mesh.faces), np.array([0.0, 0.0, -1.0]), 0.7 * size[2])
    return assembled(NAME, [(mesh, "plaster")])
