"""Are the converters and the bench frame right? What others lean on without a second look."""

from __future__ import annotations

import json
import math
from collections.abc import Callable
from pathlib import Path

import pytest

from scripts import bench, real_scans


def test_an_off_with_comments_and_polygons_becomes_an_obj(tmp_path: Path) -> None:
    (tmp_path / "a.off").write_text(
        "OFF # head\n# words\n4 2 0\n0 0 0\n1 0 0\n1 1 0 # corner\n0 1 0.5\n3 0 1 2\n4 0 1 2 3 255 0 0\n"
    )
    vertices, faces = real_scans.read_off(tmp_path / "a.off")
    assert vertices == [(0, 0, 0), (1, 0, 0), (1, 1, 0), (0, 1, 0.5)]
    assert faces == [(0, 1, 2), (0, 1, 2, 3)]
    real_scans.write_mesh(tmp_path / "a.obj", vertices, faces)
    assert (tmp_path / "a.obj").read_text().splitlines()[-1] == "f 1 2 3 4"
    real_scans.write_mesh(tmp_path / "a.ply", vertices, faces)
    lines = (tmp_path / "a.ply").read_text().splitlines()
    assert "element vertex 4" in lines and "element face 2" in lines and lines[-1] == "4 0 1 2 3"


def test_what_is_no_off_is_refused(tmp_path: Path) -> None:
    (tmp_path / "a.off").write_text("solid x\n")
    with pytest.raises(ValueError, match=r"a\.off"):
        real_scans.read_off(tmp_path / "a.off")


@pytest.mark.data
@pytest.mark.parametrize("name", ["bowl", "armadillo", "bunny"])
def test_a_fetched_scan_has_its_triangles(name: str, real_scan: Callable[[str], Path]) -> None:
    """Triangle counts as first counted; OFF ones rounded to the thousand in the table."""
    path = real_scan(name)
    faces = [line.split()[1:] for line in path.read_text().splitlines() if line.startswith("f ")]
    triangles = sum(len(face) - 2 for face in faces)
    assert triangles == pytest.approx(real_scans.SCANS[name].triangles, rel=0.03)
    assert (path.parent / "texture.png").exists() == real_scans.SCANS[name].textured


@pytest.mark.parametrize(
    ("value", "goal", "floor", "missed"),
    [
        (0.04, "<= 0.05", "", False),
        (0.06, "<= 0.05", "", True),
        (96.0, ">= 98", ">= 95", False),
        (94.0, ">= 98", ">= 95", True),
        (math.nan, "", "", True),
        (math.inf, "", "", True),
        (0.0, "== 0", "", False),
        (1.0, "", "", False),
    ],
)
def test_a_bench_row_knows_whether_it_fails(value: float, goal: str, floor: str, missed: bool) -> None:
    assert bench.Row("m", value, goal=goal, floor=floor).missed() is missed


def test_a_limit_that_can_not_be_read_is_refused_at_once() -> None:
    with pytest.raises(ValueError):
        bench.Record("x").add("m", 1.0, goal="small")


def test_the_table_is_flat_json_without_nan(tmp_path: Path) -> None:
    record = bench.Record("x")
    record.add("rms_mm", 0.03, case="owl", unit="mm", yardstick=0.04, goal="<= 0.05")
    record.add("broken", math.nan)
    record.write(tmp_path / "x.json")
    rows = json.loads((tmp_path / "x.json").read_text())
    assert rows[0] == {"metric": "rms_mm", "case": "owl", "value": 0.03, "unit": "mm", "yardstick": 0.04, "goal": "<= 0.05"}
    assert rows[1]["value"] is None
    assert [row.metric for row in record.missed()] == ["broken"]
