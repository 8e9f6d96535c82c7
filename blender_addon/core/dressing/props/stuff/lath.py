"""A planed lath, as clay is rolled between and edges are drawn along."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import moved, rounded_rectangle, slab
from ..prop import Prop, assembled

NAME = "lath"
TRADES = ("potter", "plaster", "carver")


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    length = rng.uniform(140, 220)
    lath = slab(rounded_rectangle(length, rng.uniform(18, 26), 0.7, 3), rng.uniform(5.0, 7.0), rounding=0.6, steps=3)
    return assembled(NAME, [(moved(lath, np.eye(3)), str(rng.choice(["beech", "bare wood"])))])
