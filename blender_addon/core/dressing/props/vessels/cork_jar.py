"""A small stoneware jar closed with a cork."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import lathe, moved
from ..prop import Prop, assembled, profile

NAME = "cork jar"
TRADES = ("painter", "founder", "conservator")


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    r, height = rng.uniform(15, 19), rng.uniform(30, 42)
    outline = profile([
        (0.0, 0.0), (0.9 * r, 0.0), (r, 1.5), (r, 0.72 * height), (0.75 * r, 0.9 * height), (0.75 * r, height), (0.0, height),
    ])  # fmt: skip
    stopper = profile([(0.0, 0.0), (0.62 * r, 0.0), (0.68 * r, 7.0), (0.6 * r, 8.0), (0.0, 8.2)])
    return assembled(NAME, [
        (lathe(outline, sides=64), str(rng.choice(["white glaze", "brown glaze", "stoneware"]))),
        (moved(lathe(stopper, sides=40), np.eye(3), [0.0, 0.0, height - 1.5]), "cork"),
    ])  # fmt: skip
