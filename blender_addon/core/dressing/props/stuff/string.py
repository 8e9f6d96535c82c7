"""A small hank of twisted string with a loose end."""

from __future__ import annotations

import numpy as np

from ....mesh.triangles import unit
from ....noise import noise
from ..parts import twisted
from ..prop import Prop, assembled

NAME = "string"
TRADES = (
    "potter",
    "carver",
    "conservator",
)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    inner, thick, turns = rng.uniform(15, 22), rng.uniform(1.5, 2.2), int(rng.integers(6, 10))
    steps = 44 * turns
    s = np.linspace(0, 1, steps)
    angle = 2 * np.pi * turns * s
    layer = np.floor(turns * s)
    radius = inner + (layer % 4) * thick * 0.98 + 0.8 * noise(angle / 2.2, 0.4, seed=int(rng.integers(999)))
    z = (
        thick / 2
        + np.floor(layer / 4) * thick * 0.86
        + 0.25 * thick * (1 + noise(angle / 1.7, 3.1, seed=int(rng.integers(999))))
    )
    path = np.column_stack([radius * np.cos(angle), 0.9 * radius * np.sin(angle), z])
    away = np.linspace(0, 1, 40)[1:, None]
    ahead = unit(path[-1] - path[-2])
    side = np.array([ahead[1], -ahead[0], 0.0])
    swing = rng.uniform(-1, 1)
    end = path[-1] + 48 * away * ahead + 20 * (swing * away**2 + 0.25 * np.sin(5 * away)) * side
    end[:, 2] = np.maximum(path[-1, 2] * (1 - 2.5 * away[:, 0]) + thick / 2 * 2.5 * away[:, 0], thick / 2)
    end[away[:, 0] > 0.4, 2] = thick / 2
    return assembled("string", [(twisted(np.concatenate([path, end]), thick), "string")])
