"""Which lines of the package does each test run? A plugin of pytest: `-p scripts.bench.mutants.lines`.

Python's own monitoring (PEP 669) reports a line once a test and is then silent until the next, so that tests run at nearly
their usual speed. The table goes to the file that BOZZETTO_LINES names: {"seconds": {test: s}, "lines": {file: {line:
[tests]}}}, tests as pytest names them, "" for what runs while modules are imported. What runs in another process is not seen.
"""

from __future__ import annotations

import json
import os
import sys
import time
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from types import CodeType
from typing import Any

import pytest

PACKAGE = str(Path(__file__).resolve().parents[3] / "blender_addon") + os.sep
TOOL = sys.monitoring.COVERAGE_ID if hasattr(sys, "monitoring") else 0
_found: dict[str, dict[int, list[str]]] = defaultdict(lambda: defaultdict(list))
_seconds: dict[str, float] = {}
_running = [""]


def _line(code: CodeType, number: int) -> Any:
    if code.co_filename.startswith(PACKAGE):
        tests = _found[code.co_filename[len(PACKAGE) :]][number]
        if not tests or tests[-1] != _running[0]:
            tests.append(_running[0])
    return sys.monitoring.DISABLE


def pytest_configure(config: pytest.Config) -> None:
    """Begin to listen, before any module of the package is imported."""
    sys.monitoring.use_tool_id(TOOL, "bozzetto")
    sys.monitoring.register_callback(TOOL, sys.monitoring.events.LINE, _line)
    sys.monitoring.set_events(TOOL, sys.monitoring.events.LINE)


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    """A test begins: all lines are reported once more."""
    _running[0], start = item.nodeid, time.perf_counter()
    sys.monitoring.restart_events()
    try:
        return (yield)
    finally:
        _seconds[item.nodeid] = time.perf_counter() - start
        _running[0] = ""


def pytest_sessionfinish() -> None:
    """Write the table."""
    sys.monitoring.set_events(TOOL, 0)
    table = {"seconds": _seconds, "lines": _found}
    Path(os.environ["BOZZETTO_LINES"]).write_text(json.dumps(table), encoding="utf-8")
