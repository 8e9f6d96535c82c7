"""A strip of card with ten black and white centimetres, for a picture that shows the size."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import moved, rounded_rectangle, slab
from ..prop import Prop, assembled

NAME = "scale card"
TRADES = ("conservator",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    card = slab(rounded_rectangle(112.0, 20.0, 0.8, 3), 0.7, rounding=0.15, steps=2)
    parts = [(card, "white card")]
    square = slab(rounded_rectangle(10.0, 6.0, 0.02, 2), 0.04, rounding=0.01, steps=2)
    for place in range(10):
        row = 3.2 if place % 2 else -3.2
        parts.append((moved(square, np.eye(3), [-45.0 + 10.0 * place, row, 0.69]), "black paint"))
    return assembled(NAME, parts)
