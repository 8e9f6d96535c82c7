"""A flexible bowl in which plaster was mixed, a rest of it set inside."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import lathe
from ....mesh.triangles import TriangleMesh
from ....noise import noise
from ..prop import Prop, assembled, profile

NAME = "plaster bowl"
TRADES = ("plaster",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    radius, height = rng.uniform(44, 52), rng.uniform(42, 50)
    outline = profile([
        (0.0, 0.0), (0.45 * radius, 0.0), (0.8 * radius, 0.3 * height), (radius, height - 1.5), (radius - 1.0, height),
        (radius - 3.0, height - 1.5), (0.8 * radius - 3.0, 0.33 * height), (0.4 * radius, 5.0), (0.0, 4.0),
    ])  # fmt: skip
    bowl = lathe(outline, sides=80)
    level = rng.uniform(0.35, 0.5) * height
    inner = float(np.interp(level, [5.0, 0.33 * height, height], [0.4 * radius, 0.8 * radius - 3.0, radius - 3.0]))
    rest = lathe(
        profile([(inner + 0.4, level - 0.5), (inner, level + 1.2), (0.6 * inner, level), (0.0, level - 0.6)]), sides=80
    )
    points = np.asarray(rest.vertices, float).copy()
    points[:, 2] += 0.8 * noise(points[:, 0] / 9, points[:, 1] / 9, seed=int(rng.integers(999)))
    return assembled(NAME, [(bowl, "rubber"), (TriangleMesh(points, rest.faces), "plaster")])
