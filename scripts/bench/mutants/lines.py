"""Which lines of the package does each test run? A plugin of pytest: `-p scripts.bench.mutants.lines`.

A line is reported once a test and is then silent until the next, so that tests run at nearly their usual speed. Processes of
Python that a test starts are heard too (`children/sitecustomize.py`), unless they are started with an environment of their own.
What several tests share (a fixture of a module) is run once, and its lines are those of all tests that use it.

The table goes to the file that BOZZETTO_LINES names: {"seconds": {test: s}, "shared": {test: {fixture: s}}, "lines": {file:
{line: [tests]}}, "failed": [tests]}, tests as pytest names them, "" for what runs while modules are imported. A test's
seconds are its own, without those of what it shares.
"""

from __future__ import annotations

import json
import os
import time
from collections import defaultdict
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from . import listening

_found: dict[str, dict[int, list[str]]] = defaultdict(lambda: defaultdict(list))
_seconds: dict[str, float] = {}
_fixtures: dict[str, float] = {}
"""Seconds of each shared fixture, named "where it counts::its name"."""
_names: dict[str, tuple[str, ...]] = {}
"""The names of the fixtures that each test uses."""
_running = [""]
_failed: set[str] = set()
"""Tests that fail without any change, for want of something on this machine: they can't show a fault."""


def _heard(file: str, line: int, of: str | None = None) -> None:
    of = _running[0] if of is None else of
    tests = _found[file][line]
    if of not in tests[-1:]:
        tests.append(of)


def _run_for(name: str) -> str:
    """From now on record all lines again, as those of a test or of a shared fixture; returns the name before."""
    before, _running[0] = _running[0], name
    os.environ["BOZZETTO_TEST"] = name
    listening.again()
    return before


def pytest_configure(config: pytest.Config) -> None:
    """Begin to record, before any module of the package is imported."""
    listening.listen(_heard)
    paths = (str(Path(__file__).parent / "children"), os.environ.get("PYTHONPATH", ""))
    os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, paths))


@pytest.hookimpl(wrapper=True)
def pytest_runtest_protocol(item: pytest.Item) -> Iterator[None]:
    """A test with what is set up for it."""
    _run_for(item.nodeid)
    _names[item.nodeid] = tuple(getattr(item, "fixturenames", ()))
    start, shared = time.perf_counter(), sum(_fixtures.values())
    try:
        return (yield)
    finally:
        _seconds[item.nodeid] = time.perf_counter() - start - (sum(_fixtures.values()) - shared)
        _running[0] = ""


def pytest_runtest_logreport(report: pytest.TestReport) -> None:
    """Note a test that fails."""
    if report.failed:
        _failed.add(report.nodeid)


@pytest.hookimpl(wrapper=True)
def pytest_fixture_setup(fixturedef: pytest.FixtureDef[Any]) -> Iterator[Any]:
    """A fixture; of a shared one the lines and the seconds are its own."""
    if fixturedef.scope == "function":
        return (yield)
    name = f"{fixturedef.baseid}::{fixturedef.argname}"
    before = _run_for(name)
    start, within = time.perf_counter(), sum(_fixtures.values())
    try:
        return (yield)
    finally:
        _fixtures.setdefault(name, 0.0)
        _fixtures[name] += time.perf_counter() - start - (sum(_fixtures.values()) - within)
        _run_for(before)


def pytest_sessionfinish() -> None:
    """Write the table."""
    listening.stop()
    place = Path(os.environ["BOZZETTO_LINES"])
    for rows in sorted(place.parent.glob(f"{place.name}.*.child")):
        test, *heard = rows.read_text(encoding="utf-8").splitlines()
        for row in heard:
            file, _, line = row.partition("\t")
            if test and line.isdigit():  # the last row of a process that was killed may be cut
                _heard(file, int(line), test)
        rows.unlink()
    shared = {
        test: {name: _fixtures[name] for name in _fixtures if name.rpartition("::")[2] in names and _counts_for(name, test)}
        for test, names in _names.items()
    }
    users = {name: [test for test, used in shared.items() if name in used] for name in _fixtures}
    lines = {
        file: {line: list(dict.fromkeys(test for of in found for test in users.get(of, [of]))) for line, found in rows.items()}
        for file, rows in _found.items()
    }
    place.write_text(
        json.dumps({"seconds": _seconds, "shared": shared, "lines": lines, "failed": sorted(_failed)}), encoding="utf-8"
    )


def _counts_for(fixture: str, test: str) -> bool:
    """Whether a fixture is one of the test's module, or of a folder that it lies in."""
    return test.startswith(fixture.rpartition("::")[0])
