"""A small glazed jar, thrown and so not perfectly round, its foot left bare."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import lathe
from ....mesh.triangles import TriangleMesh
from ....noise import noise
from ..prop import Prop, assembled, profile

NAME = "jar"
TRADES = ("potter",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    height, belly = rng.uniform(52, 84), rng.uniform(26, 38)
    foot, mouth, wall = 0.72 * belly, rng.uniform(0.7, 0.92) * belly, rng.uniform(2.6, 3.6)
    outside = profile([
        (foot - 1.5, 0.0), (foot, 0.8), (0.93 * belly, 0.22 * height), (belly, rng.uniform(0.45, 0.6) * height),
        (0.94 * belly, 0.8 * height), (mouth, 0.93 * height), (mouth + 1.2, height - 1.2), (mouth + 0.4, height),
    ])  # fmt: skip
    inside = profile([
        (mouth - 1.6, height - 0.8), (mouth - wall, 0.92 * height), (0.92 * belly - wall, 0.75 * height),
        (belly - wall, 0.5 * height),
        (foot - wall, 5.5), (0.0, 4.6),
    ])  # fmt: skip
    ring = np.array([[0.0, 0.9], [foot - 5.0, 0.9], [foot - 4.0, 0.0]])
    whole = lathe(np.concatenate([ring, outside, inside]), sides=72)
    points = np.asarray(whole.vertices, float).copy()
    angle = np.arctan2(points[:, 1], points[:, 0])
    out = 1 + 0.008 * np.sin(2 * angle + 1.0) + 0.004 * noise(points[:, 2] / 3.2, 0.3, seed=int(rng.integers(999)))
    points[:, :2] *= out[:, None]
    bare = points[whole.faces][:, :, 2].max(axis=1) < 0.14 * height
    bare &= np.linalg.norm(points[whole.faces][:, :, :2].mean(axis=1), axis=1) > 0.4 * foot
    glaze = str(rng.choice(["celadon glaze", "blue glaze", "brown glaze", "white glaze"]))
    parts = [(TriangleMesh(points, whole.faces[~bare]), glaze)]
    if bare.any():
        parts.append((TriangleMesh(points, whole.faces[bare]), "stoneware"))
    return assembled("jar", parts)
