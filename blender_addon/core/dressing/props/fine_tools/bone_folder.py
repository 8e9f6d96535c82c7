"""A conservator's flat folder of bone."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import slab
from ..prop import Prop, assembled

NAME = "bone folder"
TRADES = ("conservator",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    length, wide = rng.uniform(120, 155), rng.uniform(17, 23)
    t = np.linspace(0, 1, 40)
    half = 0.5 * wide * np.sqrt(np.clip(1 - np.abs(2 * t - 1) ** 5, 0.0, 1)) * (1 - rng.uniform(0.2, 0.45) * t**2)
    half = np.maximum(half, 1.6)  # wider than its edge is rounded, or the faces would fold over at the ends
    outline = np.concatenate([np.column_stack([length * t, -half]), np.column_stack([length * t[::-1], half[::-1]])])
    return assembled(NAME, [(slab(outline, 2.8, rounding=1.2, steps=4), "bone")])
