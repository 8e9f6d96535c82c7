"""The bench's shapes: procedural pieces in mm whose fine relief is known, standing on z = 0, front towards -Y."""

from __future__ import annotations

from collections.abc import Callable

from .owl import owl
from .shape import Shape

SHAPES: dict[str, Callable[[int], Shape]] = {"owl": lambda seed: owl(seed)}
"""From name to maker (seed -> Shape)."""


def shape(name: str, seed: int = 7) -> Shape:
    """A bench shape made new. Raises KeyError for a name not in SHAPES."""
    return SHAPES[name](seed)
