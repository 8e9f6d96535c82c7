"""A thin-bladed knife for trimming clay: two wooden scales riveted to a tang."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import lathe, moved, slab
from ..parts import blade_of
from ..prop import Prop, assembled

NAME = "knife"
TRADES = (
    "potter",
    "plaster",
    "carver",
)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    grip, blade, wide = rng.uniform(95, 112), rng.uniform(70, 95), rng.uniform(12, 16)
    s = np.linspace(0, 1, 20)
    edge = np.column_stack([blade * s, -wide / 2 + wide * 0.9 * np.clip((s - 0.55) / 0.45, 0, 1) ** 2.2])
    back = np.column_stack([blade * s[::-1][1:], wide / 2 - 0.6 * np.clip((s[::-1][1:] - 0.8) / 0.2, 0, 1)])
    outline = np.concatenate([edge, back]) + [grip - 2.0, 0.0]
    steel = blade_of(outline, 1.1)
    t = np.linspace(0, 1, 30)
    waist = 1 - 0.22 * np.sin(np.pi * t) ** 2 + 0.10 * np.sin(2 * np.pi * t)
    half = 0.5 * (wide + 4) * waist * np.sqrt(np.clip(1 - np.abs(2 * t - 1) ** 9, 0.05, 1))
    shape = np.concatenate([np.column_stack([grip * t, -half]), np.column_stack([grip * t[::-1], half[::-1]])])
    scale = slab(shape, 5.2, rounding=2.2, steps=4)
    parts = [
        (moved(steel, np.eye(3), [0, 0, 4.9]), "steel"),
        (scale, "walnut"),
        (moved(scale, np.eye(3), [0, 0, 5.9]), "walnut"),
    ]
    core = slab(shape * [0.99, 0.96], 0.9, rounding=0.2, steps=2)
    parts.append((moved(core, np.eye(3), [0.5, 0, 5.1]), "steel"))
    for share in (0.22, 0.55, 0.84):
        rivet = lathe(np.array([[0.0, 0.0], [1.9, 0.0], [2.1, 0.15], [1.9, 0.35], [0.0, 0.42]]), sides=18)
        parts.append((moved(rivet, np.eye(3), [share * grip, 0.0, 10.95]), "brass"))
    return assembled("knife", parts)
