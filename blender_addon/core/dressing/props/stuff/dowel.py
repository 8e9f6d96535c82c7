"""An offcut of a dowel, sawn at both ends."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import lathe, moved
from ..prop import ALONG_X, Prop, assembled

NAME = "dowel"
TRADES = ("potter", "carver", "painter", "plaster")


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    radius, length, arris = rng.uniform(3.0, 5.0), rng.uniform(24.0, 44.0), rng.uniform(0.15, 0.4)
    outline = [
        (0.0, 0.0), (radius - arris, 0.0), (radius, arris), (radius, 0.5 * length), (radius, length - arris),
        (radius - arris, length), (0.0, length),
    ]  # fmt: skip
    rod = moved(lathe(np.array(outline), sides=40), ALONG_X)
    return assembled(NAME, [(rod, str(rng.choice(["beech", "bare wood"])))])
