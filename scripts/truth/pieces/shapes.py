"""The bench's shapes: procedural pieces in mm whose fine relief is known, standing on z = 0, front towards -Y."""

from __future__ import annotations

from collections.abc import Callable

from .engraved import engraved
from .more_shapes import folds, plain, pot, sharp, smooth
from .owl import owl
from .shape import Shape

SHAPES: dict[str, Callable[[int], Shape]] = {
    "owl": owl,
    "sharp": sharp,
    "folds": folds,
    "smooth": smooth,
    "plain": plain,
    "pot": pot,
    "engraved": engraved,
}
"""From name to maker (seed -> Shape). `plain` has no detail at all; `pot` is there to be tried on last."""


def shape(name: str, seed: int = 7) -> Shape:
    """A bench shape made new. Raises KeyError for a name not in SHAPES."""
    return SHAPES[name](seed)
