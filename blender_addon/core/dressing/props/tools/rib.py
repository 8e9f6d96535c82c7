"""A kidney-shaped wooden rib with a thumb hole's hollow left out, thin at its working edge."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import slab
from ....mesh.triangles import TriangleMesh
from ..prop import Prop, assembled

NAME = "rib"
TRADES = ("potter",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    long, wide, thick = rng.uniform(88, 112), rng.uniform(46, 58), rng.uniform(4.5, 6.5)
    angle = np.linspace(0, 2 * np.pi, 72, endpoint=False)
    r = 1 + 0.10 * np.cos(2 * angle + rng.uniform(-0.3, 0.3))
    x, y = 0.5 * long * r * np.cos(angle), 0.5 * wide * r * np.sin(angle)
    y = y - 0.30 * wide * np.exp(-((x / (0.28 * long)) ** 2)) * (y > 0) * rng.uniform(0.5, 1.0)
    body = slab(np.column_stack([x, y]), thick, rounding=0.42 * thick, steps=4, dome=np.array([0.15, 0.35, 0.6]))
    points = np.asarray(body.vertices, float).copy()
    thin = np.clip((0.1 * wide - points[:, 1]) / (0.5 * wide), 0, 1)
    points[:, 2] = np.where(points[:, 2] > 0.5 * thick, points[:, 2] - 0.4 * thick * thin**2, points[:, 2])
    return assembled("rib", [(TriangleMesh(points, body.faces), str(rng.choice(["beech", "walnut", "boxwood"])))])
