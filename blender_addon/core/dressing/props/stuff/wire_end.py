"""A bent end of armature wire, nipped off."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import circle, tube
from ..prop import Prop, assembled

NAME = "wire end"
TRADES = ("potter", "founder", "plaster", "painter")


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    radius, length = rng.uniform(0.8, 1.3), rng.uniform(55.0, 85.0)
    s = np.linspace(0.0, 1.0, 140)
    hook, start = rng.uniform(1.6, 2.6) * rng.choice([-1.0, 1.0]), rng.uniform(0.55, 0.7)
    bend = hook / (1.0 + np.exp(-(s - start) / 0.035)) + rng.uniform(-0.35, 0.35) * np.sin(np.pi * s)
    steps = length / len(s) * np.column_stack([np.cos(bend), np.sin(bend)])
    path = np.column_stack([np.cumsum(steps, axis=0), np.full(len(s), radius)])
    return assembled(NAME, [(tube(path, circle(radius, 16)), "steel")])
