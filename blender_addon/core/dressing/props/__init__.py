"""Props for a maker's table, generated at true size in mm, varied by seed, modelled on no particular product. One file each.

A prop's file lies in one of the folders below and gives `NAME`, `TRADES` (keys of `core/dressing/trades.py`) and
`make(rng)`. There is no list to add it to. Sizes are those of studio tools as they are sold (common practice, from memory).
"""

from __future__ import annotations

import hashlib
import importlib
import pkgutil
from collections.abc import Callable, Mapping
from functools import cache

import numpy as np

from ...records import record
from . import fine_tools, stuff, tools, vessels
from .prop import Prop


@record
class PropKind:
    """A kind of prop: its name, the trades on whose benches it lies, whether it is a vessel, and its maker."""

    name: str
    trades: tuple[str, ...]
    vessel: bool
    make: Callable[[np.random.Generator], Prop]


@cache
def kinds() -> Mapping[str, PropKind]:
    """All kinds of props by name, sorted, found by their files."""
    found = {}
    for room in (fine_tools, stuff, tools, vessels):
        for info in pkgutil.iter_modules(room.__path__):
            module = importlib.import_module(f"{room.__name__}.{info.name}")
            found[module.NAME] = PropKind(module.NAME, tuple(module.TRADES), room is vessels, module.make)
    return dict(sorted(found.items()))


def make_prop(name: str, *, seed: int) -> Prop:
    """One prop by its name; another seed is another individual. Raises KeyError for an unknown name.

    The generator starts from a digest of the name, so that a new kind of prop changes no other.
    """
    return kinds()[name].make(np.random.default_rng([seed, digest(name), 401]))


def digest(name: str) -> int:
    """A number that stands for a name, the same everywhere."""
    return int.from_bytes(hashlib.sha256(name.encode()).digest()[:4], "big")
