"""The steps of the job. They are found automatically: a new step is one new file in one of the five folders.

What Blender needs to know of a step when it enables the add-on (name, roles, settings) is in `declared/` beside it; the file
with the step's work is imported when the step is first run.
"""

from __future__ import annotations

import importlib
import pkgutil
from functools import cache

from ..job.step import DECLARED, FOLDERS, Step, from_module, ordered


@cache
def catalogue() -> tuple[Step, ...]:
    """All steps, in the order in which they run."""
    found = []
    for folder in FOLDERS:
        works, declared = _names(f"{__name__}.{folder}"), _names(f"{__name__}.{folder}.{DECLARED}")
        for name in sorted({*works, *declared} - {DECLARED}):
            part = f".{DECLARED}" if name in declared else ""
            found.append(from_module(importlib.import_module(f"{__name__}.{folder}{part}.{name}")))
    return ordered(found)


def _names(package: str) -> list[str]:
    """The names of a package's modules, without those that begin with an underscore."""
    return [info.name for info in pkgutil.iter_modules(importlib.import_module(package).__path__) if info.name[0] != "_"]
