"""A six-sided pencil, used and sharpened with a knife."""

from __future__ import annotations

import numpy as np

from ....mesh.similarity import rotation_about
from ....mesh.solids import circle, lathe, moved, rounded_rectangle, tube
from ..prop import ALONG_X, Prop, assembled

NAME = "pencil"
TRADES = (
    "potter",
    "carver",
    "plaster",
    "conservator",
)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    length, across = rng.uniform(85, 165), 7.2
    r = across / np.sqrt(3)
    cone, point = rng.uniform(17, 22), rng.uniform(5.0, 7.5)
    hexagon = rounded_rectangle(1, 1, 0.1, 2)
    angle = np.arange(48) / 48 * 2 * np.pi
    side = np.pi / 3
    hexagon = (across / 2 / np.cos(np.mod(angle + side / 2, side) - side / 2))[:, None] * np.stack(
        [np.cos(angle), np.sin(angle)], 1
    )
    hexagon = hexagon * np.minimum(1.0, 0.985 * r / np.linalg.norm(hexagon, axis=1))[:, None]
    body = tube(
        np.array([[0, 0, 0], [0.5, 0, 0], [length * 0.5, 0, 0], [length, 0, 0.0]]),
        hexagon,
        scale=np.array([[0.93, 0.93], [1, 1], [1, 1], [1, 1]]),
    )
    s = np.linspace(0, 1, 14)
    facets = 1 + 0.02 * np.sin(9 * s + rng.uniform(0, 6))
    wood = np.column_stack([length - 1.2 + (cone + 1.2) * s, 0 * s, 0 * s])
    radius = (r - 0.05 + (1.25 - r) * s) * facets
    bare = tube(wood, circle(1.0, 24), scale=np.column_stack([radius, radius]))
    tip = np.array([[1.2, 0.0], [1.15, 0.4], [0.45, point], [0.25, point + 0.4], [0.0, point + 0.5]]) + [
        0.0,
        length + cone - 0.5,
    ]
    lead = moved(lathe(tip, sides=16), ALONG_X)
    end = moved(lathe(np.array([[0.0, -0.25], [1.1, -0.2], [1.1, 0.3], [0.0, 0.3]]), sides=16), ALONG_X)
    paint = str(rng.choice(["yellow lacquer", "green lacquer", "red lacquer", "black lacquer"]))
    roll = rotation_about("x", np.pi / 6)  # lies on a flat
    return assembled("pencil", [(moved(part, roll), material) for part, material in (
        (body, paint), (bare, "bare wood"), (lead, "graphite"), (end, "graphite"))])  # fmt: skip
