"""A steel rule, 150 mm and a little over; the division is in its material."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import rounded_rectangle, slab
from ..prop import Prop, assembled

NAME = "rule"
TRADES = (
    "carver",
    "founder",
    "plaster",
    "conservator",
)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    plate = slab(rounded_rectangle(156.0, 19.0, 1.2, 4), 0.75, rounding=0.12, steps=2, dome=np.array([0.4, 0.8]))
    return assembled("rule", [(plate, "rule")])
