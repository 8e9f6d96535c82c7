"""A low dish for water or slip."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import lathe
from ....mesh.triangles import TriangleMesh
from ..prop import Prop, assembled, profile

NAME = "saucer"
TRADES = ("potter", "painter", "conservator")


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    radius, height, wall = rng.uniform(34, 46), rng.uniform(15, 22), rng.uniform(2.4, 3.2)
    foot = 0.55 * radius
    outline = profile([
        (0.0, 1.0), (foot - 3.0, 1.0), (foot - 2.0, 0.0), (foot, 0.4), (0.8 * radius, 0.45 * height), (radius, height - 1.0),
        (radius - 0.5 * wall, height), (radius - wall, height - 1.2), (0.75 * radius - wall, 0.5 * height), (0.0, 4.0),
    ])  # fmt: skip
    dish = lathe(outline, sides=80)
    angle = np.arctan2(dish.vertices[:, 1], dish.vertices[:, 0])
    points = dish.vertices * np.column_stack([*2 * [1 + 0.006 * np.sin(2 * angle)], np.ones(len(angle))])
    return assembled(NAME, [(TriangleMesh(points, dish.faces), str(rng.choice(["white glaze", "celadon glaze", "stoneware"])))])
