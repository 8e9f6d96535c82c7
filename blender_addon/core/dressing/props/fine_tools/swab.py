"""A cotton swab on a bamboo stick."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import circle, tube
from ....noise import noise
from ..prop import Prop, assembled

NAME = "swab"
TRADES = ("conservator",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    length = rng.uniform(125, 160)
    s = np.linspace(0, 1, 30)
    stick = tube(np.column_stack([length * s, 0 * s, 0 * s]), circle(1.1, 14))
    t = np.linspace(0, 1, 26)
    bud = 3.3 * np.sqrt(np.clip(np.sin(np.pi * np.clip(0.06 + 0.94 * t, 0, 1)), 0.0, 1.0)) + 0.25 * noise(
        t * 9.0, 0.2, seed=int(rng.integers(999))
    )
    path = np.column_stack([length - 10.0 + rng.uniform(17, 22) * t, 0 * t, 0 * t])
    cotton = tube(path, circle(1.0, 22), scale=np.column_stack([bud, 0.92 * bud]))
    return assembled(NAME, [(stick, "bare wood"), (cotton, "cotton")])
