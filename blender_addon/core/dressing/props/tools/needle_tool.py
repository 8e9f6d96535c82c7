"""A needle in a slim turned handle."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import lathe, moved
from ..parts import ferrule, handle
from ..prop import ALONG_X, Prop, assembled

NAME = "needle tool"
TRADES = (
    "potter",
    "founder",
)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    length = rng.uniform(82, 105)
    needle = np.array([[0.0, 0.0], [0.55, 0.0], [0.55, 32.0], [0.1, 46.0], [0.0, 46.3]]) + [0.0, length - 6]
    return assembled("needle tool", [
        (handle(rng, length, rng.uniform(7, 9), neck=4.6), str(rng.choice(["beech", "boxwood"]))),
        (ferrule(length - 9.0, length + 2.0, 5.6, 3.0), "brass"), (moved(lathe(needle, sides=12), ALONG_X), "steel"),
    ])  # fmt: skip
