"""A few rods of sprue wax, laid down together."""

from __future__ import annotations

import numpy as np

from ....mesh.similarity import rotation_about
from ....mesh.solids import circle, moved, tube
from ..prop import Prop, assembled

NAME = "wax rods"
TRADES = ("founder",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    thick = rng.uniform(4.5, 6.5)
    wax = str(rng.choice(["red wax", "brown wax"]))
    parts = []
    for place in range(int(rng.integers(3, 5))):
        length = rng.uniform(70, 115)
        s = np.linspace(-0.5, 0.5, 20)
        path = np.column_stack([length * s, rng.uniform(-3, 3) * (2 * s) ** 2, np.full_like(s, thick / 2)])
        rod = tube(path, circle(thick / 2, 20))
        rod = moved(rod, rotation_about("z", rng.uniform(-0.05, 0.05)), [0.0, place * (thick + 2.6), 0.0])
        parts.append((rod, wax))
    return assembled(NAME, parts)
