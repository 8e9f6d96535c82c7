"""A carving gouge: a turned handle, a ferrule, a steel channel that widens towards its edge."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import framed_tube
from ..parts import ferrule, handle
from ..prop import Prop, assembled

NAME = "gouge"
TRADES = ("carver",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    length, thick = rng.uniform(100, 125), rng.uniform(22, 27)
    reach, wide, deep = rng.uniform(95, 125), rng.uniform(9, 18), rng.uniform(0.25, 0.6)
    start = length + 10.0
    arc = np.linspace(-0.95, 0.95, 15)
    outside = np.column_stack([np.sin(arc), deep * (1 - np.cos(arc)) - 0.08])
    inside = np.column_stack([0.86 * np.sin(arc), deep * (1 - np.cos(arc)) + 0.10])[::-1]
    channel = np.concatenate([outside, inside])
    s = np.linspace(0, 1, 24)
    half = 0.5 * (5.5 + (wide - 5.5) * np.clip((s - 0.25) / 0.75, 0, 1) ** 1.5)
    path = np.column_stack([start - 6.0 + reach * s, 0 * s, 0 * s])
    across, above = np.tile([0.0, 1.0, 0.0], (len(s), 1)), np.tile([0.0, 0.0, 1.0], (len(s), 1))
    steel = framed_tube(path, channel, np.column_stack([half, half]), across, above)
    return assembled(NAME, [
        (handle(rng, length, thick, neck=13.0), str(rng.choice(["beech", "boxwood"]))),
        (ferrule(length - 5.0, start, 15.0, 12.0), "brass"), (steel, "steel"),
    ])  # fmt: skip
