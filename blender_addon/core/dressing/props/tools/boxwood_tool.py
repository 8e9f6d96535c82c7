"""A modelling tool of boxwood, a spatula at one end and a point at the other."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import circle, framed_tube
from ..prop import Prop, assembled

NAME = "boxwood tool"
TRADES = (
    "potter",
    "founder",
    "plaster",
)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    length = rng.uniform(140, 175)
    s = np.linspace(0, 1, 46)
    flat = np.clip((0.30 - s) / 0.30, 0, 1)
    sharp = np.clip((s - 0.66) / 0.34, 0, 1)
    wide = 4.0 + rng.uniform(2.5, 4.0) * flat**1.2 * (1 - flat**5) - 3.2 * sharp**1.5
    tall = 4.0 - 2.9 * flat**0.8 - 3.2 * sharp**1.3
    tip = np.sqrt(np.clip(1 - flat**8, 0.02, 1))
    bow = rng.uniform(2, 5) * flat**2 + rng.uniform(0, 4) * sharp**2
    path = np.column_stack([length * s, rng.uniform(-2, 2) * np.sin(np.pi * s), bow])
    ahead = np.gradient(path, axis=0)
    ahead /= np.linalg.norm(ahead, axis=1, keepdims=True)
    across = np.tile([0.0, 1.0, 0.0], (len(s), 1))
    mesh = framed_tube(
        path, circle(1.0, 24), np.column_stack([wide * tip, np.maximum(tall, 0.5) * tip]), across, np.cross(ahead, across)
    )
    return assembled("boxwood tool", [(mesh, "boxwood")])
