"""A glazed white tile with a few dabs of dried paint."""

from __future__ import annotations

import numpy as np

from ....mesh.similarity import rotation_about
from ....mesh.solids import ball, moved, rounded_rectangle, slab
from ....mesh.triangles import TriangleMesh
from ..prop import Prop, assembled

NAME = "palette tile"
TRADES = ("painter",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    side = rng.uniform(74, 98)
    tile = slab(rounded_rectangle(side, side, 1.5, 4), 5.5, rounding=1.2, steps=4)
    parts = [(tile, "white glaze")]
    for place in range(int(rng.integers(3, 6))):
        drop = ball(4)
        size = np.array([rng.uniform(3, 7), rng.uniform(2, 5), rng.uniform(0.5, 1.0)])
        shape = TriangleMesh(drop.vertices * size * [1, 1, 1], drop.faces)
        where = [*(rng.uniform(-0.36, 0.36, 2) * side), 5.4]
        paint = ("grey paint", "brown paint", "black paint")[place % 3]
        parts.append((moved(shape, rotation_about("z", rng.uniform(0, np.pi)), where), paint))
    return assembled(NAME, parts)
