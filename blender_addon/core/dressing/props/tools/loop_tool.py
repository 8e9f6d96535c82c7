"""A wooden handle with a loop of flat wire, for taking off clay."""

from __future__ import annotations

import numpy as np

from ....mesh.similarity import rotation_about
from ....mesh.solids import moved, rounded_rectangle, tube
from ..parts import ferrule, handle
from ..prop import Prop, assembled

NAME = "loop tool"
TRADES = ("potter",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    length, thick = rng.uniform(105, 135), rng.uniform(9.5, 12.5)
    neck = rng.uniform(6.2, 7.4)
    reach, wide = rng.uniform(24, 36), rng.uniform(15, 24)
    s = np.linspace(0, 1, 61)
    shape = rng.uniform(1.4, 2.6)
    angle = np.pi * (2 * s - 1)
    x = reach * (0.5 + 0.5 * np.cos(angle)) ** (1 / shape)
    y = 0.5 * wide * np.sign(np.sin(angle)) * np.abs(np.sin(angle)) ** 0.9 * np.clip(x / (0.3 * reach), 0.12, 1.0)
    start = length + 17.0
    path = np.column_stack([start - 2 + x, y, np.zeros_like(x)])
    wire = tube(path, rounded_rectangle(0.8, 2.2, 0.3, 3))
    bend = rng.uniform(-0.12, 0.12)
    wire = moved(wire, rotation_about("y", bend), [start * (1 - np.cos(bend)), 0.0, start * np.sin(bend)])
    return assembled("loop tool", [
        (handle(rng, length, thick, neck=neck), str(rng.choice(["beech", "walnut", "worn paint"]))),
        (ferrule(length - 4.0, start, neck + 1.2, neck - 0.4), "brass"), (wire, "steel"),
    ])  # fmt: skip
