"""A cork, such as small figures are held on while they are painted."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import lathe, moved
from ....mesh.triangles import TriangleMesh
from ....noise import noise
from ..prop import ALONG_X, Prop, assembled

NAME = "cork"
TRADES = ("painter",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    r, height = rng.uniform(10, 14), rng.uniform(24, 34)
    side = np.linspace(0.0, 1.0, 40)[:, None]
    outline = [(0.0, 0.0), (0.5 * r, 0.0), (r - 0.8, 0.0), (r - 0.25, 0.2)]
    outline += [*np.array([r, 0.8]) + side * [0.1 * r, height - 1.6]]
    outline += [(1.1 * r - 0.25, height - 0.2), (1.1 * r - 0.8, height), (0.5 * r, height), (0.0, height)]
    cork = lathe(outline, sides=128)
    points = np.asarray(cork.vertices, float).copy()
    angle = np.arctan2(points[:, 1], points[:, 0])
    pits = noise(angle * r / 2.2, points[:, 2] / 2.6, seed=int(rng.integers(999)))
    points[:, :2] *= (1 - 0.05 * np.clip(pits - 0.2, 0, 1))[:, None]
    cork = TriangleMesh(points, cork.faces)
    return assembled(NAME, [(moved(cork, ALONG_X) if rng.random() < 0.5 else cork, "cork")])
