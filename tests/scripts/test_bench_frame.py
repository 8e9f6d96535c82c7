"""Does the benches' frame keep what other parts of a long bench measured, and judge it too?"""

from __future__ import annotations

import math
from pathlib import Path

import pytest

from scripts import bench
from scripts.bench import __main__ as frame
from scripts.bench import lens


def _one(case: str, value: float, monkeypatch: pytest.MonkeyPatch, folder: Path, *more: str) -> int:
    def run(record: bench.Record, options: bench.Options) -> None:
        record.add("seconds_total", value, case=case, unit="s", goal="<= 480")

    monkeypatch.setattr(lens, "run", run)  # any bench's name
    return frame.main(["lens", "--out", str(folder), *more])


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
