"""The steps of the job, a file each, found by themselves; a new step is one new file in one of the five folders."""

from __future__ import annotations

import importlib
import pkgutil
from functools import cache

from ..job.step import FOLDERS, Step, from_module, ordered


@cache
def catalogue() -> tuple[Step, ...]:
    """All steps, in the order in which they run."""
    found = []
    for folder in FOLDERS:
        package = importlib.import_module(f"{__name__}.{folder}")
        for info in pkgutil.iter_modules(package.__path__):
            if not info.name.startswith("_"):
                found.append(from_module(importlib.import_module(f"{package.__name__}.{info.name}")))
    return ordered(found)
