"""Does the benches' frame keep what other parts of a long bench measured, and judge it too?"""

from __future__ import annotations

import importlib
import math
from pathlib import Path

import pytest

from scripts import bench
from scripts.bench import __main__ as frame
from scripts.bench import decisions, faults, lens


def _one(case: str, value: float, monkeypatch: pytest.MonkeyPatch, folder: Path, *more: str) -> int:
    def run(record: bench.Record, options: bench.Options) -> None:
        record.add("seconds_total", value, case=case, unit="s", goal="<= 480")

    monkeypatch.setattr(lens, "run", run)  # any bench's name
    return frame.main(["lens", "--out", str(folder), *more])


@pytest.mark.parametrize("name", frame.benches())
def test_each_bench_can_be_run(name: str) -> None:
    assert callable(importlib.import_module(f"scripts.bench.{name}").run)


@pytest.mark.parametrize("part", faults.PARTS)
def test_each_kind_of_fault_can_be_tried(part: str) -> None:
    assert callable(importlib.import_module(f"scripts.bench.faults.{part}").run)


@pytest.mark.parametrize("kind", decisions.KINDS)
def test_each_kind_of_decision_can_be_measured(kind: str) -> None:
    module = importlib.import_module(f"scripts.bench.decisions.{kind}")
    assert callable(module.parts) and callable(module.report)


def test_a_bench_run_in_parts_keeps_their_rows_and_judges_all(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    assert _one("demo", 400.0, monkeypatch, tmp_path) == 0
    assert _one("bowl", 500.0, monkeypatch, tmp_path, "--keep") == 1
    assert {(row.case, row.value) for row in bench.read_rows(tmp_path / "lens.json")} == {("demo", 400.0), ("bowl", 500.0)}
    assert _one("demo", 300.0, monkeypatch, tmp_path, "--keep") == 1  # the other part still misses its goal
    assert _one("bowl", 450.0, monkeypatch, tmp_path, "--keep") == 0
    assert [row.value for row in bench.read_rows(tmp_path / "lens.json")] == [300.0, 450.0]


def test_without_being_asked_to_keep_an_old_table_is_gone(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    assert _one("demo", math.nan, monkeypatch, tmp_path) == 1
    assert math.isnan(bench.read_rows(tmp_path / "lens.json")[0].value)
    assert _one("bowl", 1.0, monkeypatch, tmp_path) == 0
    assert [row.case for row in bench.read_rows(tmp_path / "lens.json")] == ["bowl"]


def test_the_pieces_of_a_long_list_add_up_to_the_whole(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Ten things in three pieces, of which one goes wrong; no count of the whole before the last piece."""

    def run(record: bench.Record, options: bench.Options) -> None:
        tried = options.share(range(10))
        faults.tell(record, options, ("kills", "kills_survived"), (len(tried), len(tried) - tried.count(4)), least=10)

    monkeypatch.setattr(lens, "run", run)
    codes = [frame.main(["lens", "--out", str(tmp_path), "--keep", "--piece", f"{place}/3"]) for place in (1, 2, 3)]
    rows = {(row.metric, row.case): row for row in bench.read_rows(tmp_path / "lens.json")}
    assert codes == [0, 1, 1]
    assert rows["kills", "1/3"].value == 4.0 and rows["kills_survived", "2/3"].value == 2.0
    whole = rows["kills", ""], rows["kills_survived", ""]
    assert (whole[0].value, whole[0].floor, whole[1].value, whole[1].goal) == (10.0, ">= 10", 9.0, "== 10")
    with pytest.raises(SystemExit):
        frame.main(["lens", "--piece", "4/3"])
