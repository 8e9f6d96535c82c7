"""Which lines of the package does this process run? Each is recorded once, by Python's own monitoring (PEP 669).

The package is the project's own folder, or a copy that Blender installed from the zip: both have the same files and lines.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Callable
from pathlib import Path
from types import CodeType
from typing import Any

ROOTS = (str(Path(__file__).resolve().parents[3] / "blender_addon") + os.sep, os.sep.join(("", "user_default", "bozzetto", "")))
"""Where the package lies: from the start of a path, or, installed, somewhere within it."""


def within(name: str) -> str:
    """A code's file as the package names it, such as core/mesh/cut.py; '' for what is not the package's."""
    if name.startswith(ROOTS[0]):
        return name[len(ROOTS[0]) :]
    return name.partition(ROOTS[1])[2]


def listen(heard: Callable[[str, int], None]) -> None:
    """From now on call `heard(file, line)` the first time that a line runs, until `again` or for good."""

    def line(code: CodeType, number: int) -> Any:
        file = within(code.co_filename)
        if file:
            heard(file, number)
        return sys.monitoring.DISABLE

    sys.monitoring.use_tool_id(sys.monitoring.COVERAGE_ID, "bozzetto")
    sys.monitoring.register_callback(sys.monitoring.COVERAGE_ID, sys.monitoring.events.LINE, line)
    sys.monitoring.set_events(sys.monitoring.COVERAGE_ID, sys.monitoring.events.LINE)


def again() -> None:
    """Record lines again that ran already."""
    sys.monitoring.restart_events()


def stop() -> None:
    """Stop recording."""
    sys.monitoring.set_events(sys.monitoring.COVERAGE_ID, 0)
