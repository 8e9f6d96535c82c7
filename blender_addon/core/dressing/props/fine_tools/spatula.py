"""A steel modelling spatula: a round grip with a leaf at each end."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import circle, tube
from ..prop import Prop, assembled

NAME = "spatula"
TRADES = ("plaster", "founder", "conservator")


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    length = rng.uniform(150, 190)
    s = np.linspace(0, 1, 80)
    leaf = np.clip((np.abs(2 * s - 1) - 0.52) / 0.48, 0, 1)
    belly = np.sin(np.pi * np.clip(leaf, 0, 1) ** 0.8)
    wide = 1.9 + rng.uniform(2.6, 4.4) * belly * np.where(s < 0.5, 1.0, rng.uniform(0.6, 0.9))
    tall = 1.9 - 1.5 * np.clip(leaf / 0.25, 0, 1)
    tip = np.sqrt(np.clip(1 - leaf**10, 0.02, 1))
    path = np.column_stack([length * s, 0 * s, 2.0 + rng.uniform(0.5, 3.0) * leaf**2])
    blade = tube(path, circle(1.0, 24), scale=np.column_stack([wide * tip, np.maximum(tall, 0.35) * tip]))
    return assembled(NAME, [(blade, "steel")])
