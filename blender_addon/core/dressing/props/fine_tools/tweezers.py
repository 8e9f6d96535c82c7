"""Steel tweezers with fine points."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import rounded_rectangle, tube
from ..prop import Prop, assembled

NAME = "tweezers"
TRADES = ("painter", "conservator")


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    length, spread = rng.uniform(105, 125), rng.uniform(5.0, 8.0)
    s = np.linspace(0, 1, 40)
    parts = []
    for side in (-1.0, 1.0):
        bow = side * (0.5 + spread * np.sin(np.pi * np.clip(s, 0, 1) ** 1.3) * (1 - 0.25 * s))
        path = np.column_stack([length * s, bow, 5.0 + 0 * s])
        wide = np.where(s < 0.55, 1.0, 1.0 - 0.88 * np.clip((s - 0.55) / 0.45, 0, 1) ** 1.2)
        arm = tube(path, rounded_rectangle(1.1, 9.0, 0.4, 3), scale=np.column_stack([0.6 + 0.4 * wide, wide]))
        parts.append((arm, "steel"))
    return assembled(NAME, parts)
