"""A sculptor's bowed callipers, half open."""

from __future__ import annotations

import numpy as np

from ....mesh.similarity import rotation_about
from ....mesh.solids import lathe, moved, rounded_rectangle, tube
from ..prop import Prop, assembled

NAME = "callipers"
TRADES = ("potter", "carver", "founder", "plaster")


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    reach, bow = rng.uniform(120, 160), rng.uniform(0.28, 0.4)
    half_open = np.radians(rng.uniform(8, 20))
    s = np.linspace(0, 1, 50)
    parts = []
    for side, level in ((-1.0, 1.2), (1.0, 3.4)):
        curve = side * bow * reach * np.sin(np.pi * np.clip(s, 0, 1)) * (1 - 0.3 * s)
        path = np.column_stack([reach * s, curve, np.full_like(s, level) + (0.0 if side < 0 else -1.1) * s**3])
        taper = 1.0 - 0.6 * s
        leg = tube(path, rounded_rectangle(7.0, 2.0, 0.5, 3), scale=np.column_stack([taper, np.ones_like(s)]))
        parts.append((moved(leg, rotation_about("z", side * half_open)), "steel"))
    rivet = lathe(np.array([[0.0, 0.0], [5.5, 0.0], [6.0, 0.6], [6.0, 4.6], [4.5, 5.6], [0.0, 6.0]]), sides=28)
    parts.append((rivet, "brass"))
    return assembled(NAME, parts)
