"""A sawn offcut of the wood that is carved."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import rounded_rectangle, slab
from ....mesh.triangles import TriangleMesh
from ..prop import Prop, assembled

NAME = "wood block"
TRADES = ("carver",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    long, wide, thick = rng.uniform(42, 70), rng.uniform(26, 40), rng.uniform(14, 24)
    block = slab(rounded_rectangle(long, wide, 0.5, 3), thick, rounding=0.5, steps=3)
    points = np.asarray(block.vertices, float).copy()
    points[:, 0] += rng.uniform(-0.25, 0.25) * points[:, 2] + rng.uniform(-0.12, 0.12) * points[:, 1]  # sawn off true
    return assembled(NAME, [(TriangleMesh(points, block.faces), str(rng.choice(["bare wood", "walnut", "beech"])))])
