"""The built-in light set-ups, one file each: `LABEL`, `WORDS`, `PLACE` in the list that is offered, and `make(place)`.

A set-up's key on the sheet is its file's name. There is no list to add it to.
"""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable, Mapping
from functools import cache

from ...records import record
from .setup import Place, SetUp


@record
class SetUpKind:
    """A built-in set-up: its key, label and words for the user, and its maker."""

    key: str
    label: str
    words: str
    make: Callable[[Place], SetUp]


@cache
def kinds() -> Mapping[str, SetUpKind]:
    """All set-ups by key, in the order in which they are offered."""
    names = [info.name for info in pkgutil.iter_modules(__path__) if info.name != "setup"]
    modules = {name: importlib.import_module(f"{__name__}.{name}") for name in names}
    ordered = sorted(names, key=lambda name: (modules[name].PLACE, name))
    return {name: SetUpKind(name, modules[name].LABEL, modules[name].WORDS, modules[name].make) for name in ordered}
