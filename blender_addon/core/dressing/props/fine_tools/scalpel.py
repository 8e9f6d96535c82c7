"""A scalpel: a flat ribbed handle and a small blade."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import moved, rounded_rectangle, slab
from ..prop import Prop, assembled

NAME = "scalpel"
TRADES = ("painter", "conservator")


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    length = rng.uniform(112, 130)
    grip = slab(rounded_rectangle(length, 7.0, 2.2, 4), 2.6, rounding=0.7, steps=3)
    s = np.linspace(0, 1, 18)
    reach, wide = rng.uniform(30, 38), rng.uniform(6.0, 8.0)
    edge = np.column_stack([reach * s, -wide / 2 + wide * 0.9 * np.clip((s - 0.25) / 0.75, 0, 1) ** rng.uniform(1.6, 2.6)])
    back = np.array([[reach, wide / 2 - 0.4], [0.0, wide / 2]])
    blade = slab(np.concatenate([edge, back]), 0.4, rounding=0.18, steps=2)
    parts = [(grip, "steel"), (moved(blade, np.eye(3), [0.5 * length - 8.0, 0.0, 1.1]), "steel")]
    parts += [
        (moved(slab(rounded_rectangle(1.0, 5.6, 0.4, 3), 0.5, rounding=0.2), np.eye(3), [x, 0.0, 2.4]), "steel")
        for x in np.linspace(0.12, 0.30, 7) * length
    ]
    return assembled(NAME, parts)
