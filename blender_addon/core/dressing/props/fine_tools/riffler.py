"""A riffler: a steel rod with a small bent file at each end."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import circle, tube
from ..prop import Prop, assembled

NAME = "riffler"
TRADES = ("founder", "carver")


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    length, thick = rng.uniform(150, 185), rng.uniform(4.2, 5.4)
    s = np.linspace(0, 1, 60)
    ends = np.clip(np.abs(2 * s - 1) - 0.62, 0, None) / 0.38
    bend = rng.uniform(3.0, 7.0)
    path = np.column_stack([length * s, 0 * s, thick / 2 + bend * ends**2])
    point = np.sqrt(np.clip(1 - ends**6, 0.02, 1.0))
    wide = 1.0 + rng.uniform(0.2, 0.6) * np.sin(np.pi * np.clip(ends, 0, 1))
    tall = 1.0 - 0.45 * ends
    rod = tube(path, circle(thick / 2, 20), scale=np.column_stack([wide * point, tall * point]))
    return assembled(NAME, [(rod, "steel")])
