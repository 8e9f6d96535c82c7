"""A small brush for fine work, its hairs drawn to a point."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import lathe, moved
from ..parts import ferrule, tuft
from ..prop import ALONG_X, Prop, assembled, profile

NAME = "fine brush"
TRADES = ("painter", "conservator")


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    length, r = rng.uniform(105, 135), rng.uniform(2.2, 3.0)
    outline = profile([
        (0.0, 0.0), (0.7, 0.5), (0.9, 6.0), (0.6 * r, 0.4 * length), (r, 0.8 * length), (0.75 * r, length), (0.0, length),
    ])  # fmt: skip
    start = length + 13.0
    return assembled(NAME, [
        (moved(lathe(outline, sides=20), ALONG_X), str(rng.choice(["black lacquer", "beech"]))),
        (ferrule(length - 3.0, start, 1.5 * r + 0.5, 2.2), "steel"),
        (tuft(rng, start - 0.6, rng.uniform(7.0, 10.0), 1.0), "bristle"),
    ])  # fmt: skip
