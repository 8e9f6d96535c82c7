"""Does the bench of small faults make faults, one at a time, where tests can see them, and never in words?"""

from __future__ import annotations

import ast
import inspect
import json
import os
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from blender_addon.core import srgb
from scripts.bench.mutants import MOST_SECONDS, Costs, _chosen, _merged
from scripts.bench.mutants.changes import changes, statements

ROOT = Path(__file__).resolve().parents[2]
SOURCE = '''
def share(part: float, whole: float) -> float:
    """Docstrings hold 1 + 1 and are no statements."""
    if whole <= 0 and part:
        raise ValueError(f"{whole + 1} is too little")
    total: float = -whole * 2
    stage.warn("so many: " + str(3))
    items.append(part)
    return part / total
'''


def variants() -> list[tuple[str, str]]:
    """(words, source) of every change of the function above."""
    found = []
    count = [len(changes(*pair)) for pair in statements(ast.parse(SOURCE))]
    for place, number in enumerate(count):
        for nth in range(number):
            tree = ast.parse(SOURCE)
            change = changes(*list(statements(tree))[place])[nth]
            change.apply()
            found.append((change.words, ast.unparse(ast.fix_missing_locations(tree))))
    return found


def test_each_change_is_one_fault_that_compiles() -> None:
    original = ast.unparse(ast.parse(SOURCE))
    changed = variants()
    assert len({text for _, text in changed}) == len(changed)
    for _, text in changed:
        compile(text, "changed", "exec")
        assert sum(a != b for a, b in zip(text.splitlines(), original.splitlines(), strict=True)) == 1


def test_relations_signs_numbers_conditions_calls_and_results_are_changed() -> None:
    words_of_changes = [words for words, _ in variants()]
    for wanted in ("LtE to Lt", "LtE to Gt", "And to Or", "0 to 1", "Mult to Div", "sign dropped", "2 to 3", "Div to Mult",
                   "condition upside down", "call left out", "return None"):  # fmt: skip
        assert wanted in words_of_changes, wanted
    assert words_of_changes.count("call left out") == 1  # what is said to the user is left alone


def test_words_are_never_changed() -> None:
    for _, text in variants():
        assert "is too little" in text and "whole + 1" in text and "'so many: ' + str(3)" in text and "1 + 1" in text


def test_what_is_the_same_when_changed_is_no_fault() -> None:
    """numpy takes -2 for -1 in `reshape`, and `strict` only states that lengths are equal."""
    source = "def pairs(a, b):\n    return list(zip(a.reshape(-1, 3), b.reshape(7, -1), strict=True))\n"
    words = [change.words for pair in statements(ast.parse(source)) for change in changes(*pair)]
    assert sorted(words) == ["3 to 4", "7 to 8", "return None"]


TRACED = """
import os, subprocess, sys
import pytest
from blender_addon.core import srgb

@pytest.fixture(scope="module")
def shared():
    return srgb.encode(0.5)

@pytest.fixture
def own():
    return srgb.decode(0.5)

def test_first(shared): assert shared
def test_second(shared, own): assert shared > own
def test_third():
    code = "import os; from blender_addon.core import srgb; srgb.encode(0.5); os._exit(0)"
    subprocess.run([sys.executable, "-c", code], check=True)
def test_fourth(own): assert not own
"""


def test_lines_are_those_of_all_tests_that_share_them_and_of_processes_that_tests_start(tmp_path: Path) -> None:
    """What a module's fixture runs once, both of its tests have run; a process counts though it leaves in the middle."""
    if not hasattr(sys, "monitoring"):
        pytest.skip("Python tells of lines in this way from 3.12 on")
    (tmp_path / "test_traced.py").write_text(TRACED, encoding="utf-8")
    table = tmp_path / "lines.json"
    environment = {**os.environ, "BOZZETTO_LINES": str(table), "PYTHONPATH": str(ROOT)}
    command = [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-p", "scripts.bench.mutants.lines"]
    done = subprocess.run(
        [*command, str(tmp_path / "test_traced.py")], cwd=ROOT, env=environment, capture_output=True, text=True
    )
    assert done.returncode == 1, done.stdout + done.stderr
    found = json.loads(table.read_text(encoding="utf-8"))
    assert [test.rpartition("::")[2] for test in found["failed"]] == ["test_fourth"]
    tests = {name: sorted({test.rpartition("::")[2] for test in rows[str(line)] if test}) for name, line, rows in (
        ("encode", first_line(srgb.encode), found["lines"]["core/srgb.py"]),
        ("decode", first_line(srgb.decode), found["lines"]["core/srgb.py"]))}  # fmt: skip
    assert tests == {"encode": ["test_first", "test_second", "test_third"], "decode": ["test_fourth", "test_second"]}
    merged, _ = _merged([table])
    assert [test.rpartition("::")[2] for test in merged["core/srgb.py"][first_line(srgb.decode)]] == ["test_second"]
    used = {test.rpartition("::")[2]: list(found["shared"][test]) for test in found["seconds"]}
    assert len(used["test_first"]) == len(used["test_second"]) == 1 and used["test_third"] == []
    assert not list(tmp_path.glob("*.child"))


def test_the_quickest_tests_are_run_and_what_they_share_is_paid_once() -> None:
    costs = Costs({"a::1": 20.0, "a::2": 25.0, "b::1": 50.0, "b::2": 1.0}, {"a::1": {"a::set": 30.0}, "a::2": {"a::set": 30.0}})
    assert costs.of("a::2") == 55.0 and costs.of("a::2", {"a::set"}) == 25.0
    assert MOST_SECONDS == 90.0
    assert _chosen(("b::2", "a::1", "a::2", "b::1"), costs) == [(["b::2"], 1.0), (["a::1", "a::2"], 75.0)]


def first_line(function: Callable[..., Any]) -> int:
    """The line of a function's first statement behind its docstring."""
    tree = ast.parse(textwrap.dedent(inspect.getsource(function)))
    body = tree.body[0]
    assert isinstance(body, ast.FunctionDef)
    return inspect.getsourcelines(function)[1] + body.body[1].lineno - 1
