"""A wire with two wooden toggles, thrown down in a loop."""

from __future__ import annotations

import numpy as np

from ....mesh.similarity import rotation_about
from ....mesh.solids import circle, lathe, moved, tube
from ..prop import ALONG_X, Prop, assembled, profile

NAME = "cutting wire"
TRADES = ("potter",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    reach = rng.uniform(55, 80)
    s = np.linspace(0, 1, 160)
    turns = rng.uniform(1.4, 2.3) * 2 * np.pi
    radius = reach * (0.75 + 0.25 * np.sin(2.3 * s * np.pi + rng.uniform(0, 6)))
    angle = turns * s
    z = 0.45 + 1.4 * np.maximum(0.0, np.sin(3.1 * np.pi * s)) ** 2
    path = np.column_stack([radius * np.cos(angle), 0.7 * radius * np.sin(angle), z])
    parts = [(tube(path, circle(0.4, 8)), "steel")]
    outline = profile([(0.0, -17.0), (4.2, -16.6), (5.0, -14.0), (4.6, 0.0), (5.0, 14.0), (4.2, 16.6), (0.0, 17.0)])
    for end, heading in ((path[0], angle[0]), (path[-1], angle[-1])):
        toggle = moved(lathe(outline, sides=24), rotation_about("z", heading + rng.uniform(-0.4, 0.4)) @ ALONG_X)
        parts.append((moved(toggle, np.eye(3), [end[0], end[1], 5.0]), "beech"))
    return assembled("cutting wire", parts)
