"""The materials that a piece can be made of, one file each, named as its line in `core/surface/kinds.py`."""

from __future__ import annotations

import importlib
from functools import cache

from ..kind import Recipe


@cache
def recipe(key: str) -> Recipe:
    """The recipe of a material by its key. Raises ModuleNotFoundError for a key that has no file."""
    found: Recipe = importlib.import_module(f"{__name__}.{key}").RECIPE
    return found
