"""A round brush with a lacquered handle, its hairs a little splayed and stiff with old slip."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import lathe, moved
from ..parts import ferrule, tuft
from ..prop import ALONG_X, Prop, assembled, profile

NAME = "brush"
TRADES = (
    "potter",
    "painter",
    "conservator",
    "plaster",
)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    length, thick = rng.uniform(140, 175), rng.uniform(6.5, 9.0)
    r = thick / 2
    tail = profile([
        (0.0, 0.0), (0.9, 0.6), (1.15, 8.0), (0.55 * r, 0.42 * length), (r, 0.82 * length), (0.8 * r, 0.95 * length),
        (0.74 * r, length), (0.0, length),
    ])  # fmt: skip
    head = rng.uniform(16, 26)
    start = length + rng.uniform(20, 28)
    parts = [
        (moved(lathe(tail, sides=24), ALONG_X), str(rng.choice(["red lacquer", "black lacquer", "beech"]))),
        (ferrule(length - 5.0, start, 1.6 * r + 0.8, 1.7 * r), str(rng.choice(["brass", "steel"]))),
        (tuft(rng, start - 1.0, head, 0.8 * r), "bristle"),
    ]
    return assembled("brush", parts)
