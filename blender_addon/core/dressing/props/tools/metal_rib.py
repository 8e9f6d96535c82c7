"""A kidney of thin spring steel, for scraping and smoothing."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import slab
from ....mesh.triangles import TriangleMesh
from ..prop import Prop, assembled

NAME = "metal rib"
TRADES = ("potter", "plaster")


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    long, wide = rng.uniform(95, 115), rng.uniform(45, 56)
    angle = np.linspace(0, 2 * np.pi, 80, endpoint=False)
    x, y = 0.5 * long * np.cos(angle), 0.5 * wide * np.sin(angle)
    y = y - 0.25 * wide * np.exp(-((x / (0.3 * long)) ** 2)) * (y > 0)
    plate = slab(np.column_stack([x, y]), 0.5, rounding=0.15, steps=2, dome=np.array([0.2, 0.4, 0.6, 0.8]))
    points = np.asarray(plate.vertices, float).copy()
    points[:, 2] += rng.uniform(2.0, 5.0) * (1 - (2 * points[:, 0] / long) ** 2)  # sprung, it lies on its two ends
    return assembled(NAME, [(TriangleMesh(points, plate.faces), "steel")])
