"""Does a scan stand upright, at its true size, with its front to the front?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest

bpy = pytest.importorskip("bpy")

from blender_addon.job import runner, sheet  # noqa: E402
from blender_addon.job.errors import SubjectError  # noqa: E402
from blender_addon.scene.meshes import read_mesh  # noqa: E402
from blender_addon.scene.stage import Stage  # noqa: E402
from blender_addon.scene.thumbnails import front_candidates  # noqa: E402
from tests.scan_shapes import box, moved, noisy, rotation, statuette  # noqa: E402
from tests.steps.scan.three_steps import STEPS, TURNED_ON_IMPORT, names_of_all, run, write_scan  # noqa: E402

pytestmark = pytest.mark.usefixtures("empty_scene")


@pytest.mark.parametrize("outliers", [0.0, 0.1])
@pytest.mark.parametrize("seed", range(3))
def test_tilt_and_scale_against_the_truth(tmp_path: Path, seed: int, outliers: float) -> None:
    """The figures held to: tilt < 0.3 degrees, size < 0.5 %, with 10 % outliers, too, which bend the hull under the base."""
    turn, unit = rotation(seed + 20), 0.037
    true = statuette()
    scan = moved(noisy(true, noise=0.03, seed=seed, outliers=outliers, reach=4.0), turn, scale=unit, shift=(1.0, 2.0, 3.0))
    stage, report = run(tmp_path, write_scan(tmp_path, scan) + "[orientation]\nheight = 68.0")
    assert report.results["orientation"].figures["up_sure"]
    up = np.array(report.results["orientation"].figures["up"])
    truth = TURNED_ON_IMPORT @ turn @ [0.0, 0.0, 1.0]
    assert np.degrees(np.arctan2(np.linalg.norm(np.cross(up, truth)), up @ truth)) < 0.3
    assert report.results["orientation"].figures["mm_per_unit"] == pytest.approx(1.0 / unit, rel=5e-3)
    item = stage.require("upright")
    assert np.allclose(np.array(item.matrix_basis), np.eye(4))
    assert not item["bozzetto_assumed"]


def test_scan_points_follow_into_the_upright_frame(tmp_path: Path) -> None:
    stage, _ = run(tmp_path, write_scan(tmp_path, moved(statuette(), rotation(5))) + "[orientation]\nheight = 68.0")
    matrix = np.array(stage.require("upright")["bozzetto_matrix"]).reshape(4, 4)
    scan, upright = read_mesh(stage.require("clean", "1")), read_mesh(stage.require("upright"))
    assert np.allclose(scan.vertices @ matrix[:3, :3].T + matrix[:3, 3], upright.vertices, atol=1e-6)


@pytest.mark.parametrize(
    "known",
    ['height = 60.0\nof = "piece"', "disc = 60.0", "stand_length = 60.0",
     "distance = 34.0\npoint_a = [0.0, 0.0, 0.0]\npoint_b = [0.0, 0.0, 34.0]"],
)  # fmt: skip
def test_true_size_from_any_one_known_length(tmp_path: Path, known: str) -> None:
    """All of one figure, so all must agree within the figure held to, 0.5 %."""
    _, report = run(tmp_path, write_scan(tmp_path, statuette(rows=201)) + f"[orientation]\n{known}")
    assert report.results["orientation"].figures["height_mm"] == pytest.approx(68.0, rel=5e-3)


def test_a_height_of_what_lies_flat_is_asked_about(tmp_path: Path) -> None:
    """A plaque that was measured as 60 mm high is 60 mm long, or it is 600 mm long and 60 mm high."""
    plaque = write_scan(tmp_path, box((60.0, 45.0, 6.0)))
    _, report = run(tmp_path, plaque + '[orientation]\nheight = 60.0\nup = "y"')
    size = next(decision for decision in report.results["orientation"].decisions if decision.key == "size")
    assert size.asked and "600 mm long" in size.choice.words
    assert [other.sets for other in size.alternatives] == [{"orientation.of": "longest"}]
    _, report = run(tmp_path, plaque + '[orientation]\nheight = 60.0\nof = "longest"\nup = "y"')
    found = report.results["orientation"]
    assert found.figures["height_mm"] == pytest.approx(6.0, rel=1e-4)
    assert not any(decision.key == "size" and decision.asked for decision in found.decisions)


def test_without_a_known_length_the_size_is_assumed_and_said(tmp_path: Path) -> None:
    stage, report = run(tmp_path, write_scan(tmp_path, moved(statuette(), np.eye(3), scale=1e4)))
    figures = report.results["orientation"].figures
    assert figures["assumed"] and max(figures[f"{side}_mm"] for side in ("height", "width", "depth")) == pytest.approx(80.0)
    assert stage.require("upright")["bozzetto_assumed"]
    assert any("assumed" in note.words for note in stage.notes.warnings())
    _, report = run(tmp_path, write_scan(tmp_path, statuette()).rstrip() + '\nunit = "mm"\n')
    assert not report.results["orientation"].figures["assumed"]
    assert report.results["orientation"].figures["height_mm"] == pytest.approx(68.0, rel=1e-3)


def test_what_can_not_be_measured_is_refused(tmp_path: Path) -> None:
    block = write_scan(tmp_path, box((40.0, 30.0, 50.0)))
    with pytest.raises(SubjectError, match="not round"):
        run(tmp_path, block + "[orientation]\ndisc = 40.0")
    with pytest.raises(SubjectError, match="no stand"):
        run(tmp_path, block + '[orientation]\nheight = 40.0\nof = "piece"')
    with pytest.raises(SubjectError, match="both points"):
        run(tmp_path, block + "[orientation]\ndistance = 40.0\npoint_a = [0.0, 0.0, 0.0]")


@pytest.mark.parametrize("yaw", [0.0, 50.0, 200.0])
def test_the_front_follows_the_thing_round(tmp_path: Path, yaw: float) -> None:
    """The figure's nose lies on its mirror plane: whichever way the scan is turned, that plane ends up towards -Y.

    Its form alone speaks for its back, so that its front is asked about even where the file faces there; that front is kept."""
    angle = np.radians(yaw)
    turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1.0]])
    stage, _ = run(tmp_path, write_scan(tmp_path, moved(statuette(), turn)) + "[orientation]\nheight = 68.0")
    upright = read_mesh(stage.require("upright"), scale=1000.0).vertices
    body = upright[upright[:, 2] > 12.0]
    nose = body[np.linalg.norm(body[:, :2], axis=1).argmax(), :2]
    assert abs(nose[0]) < 2.0  # on the mirror plane within its 2 degree bins; which end is a proposal
    if yaw == 0.0:
        assert nose[1] < 0.0


def test_front_is_a_turn_and_six_sides_are_drawn(tmp_path: Path) -> None:
    text = write_scan(tmp_path, statuette())
    stage, _ = run(tmp_path, text + "[orientation]\nheight = 68.0\nfront = 0.0")
    first = read_mesh(stage.require("upright")).vertices
    sides = front_candidates(stage.require("upright"), size=64)
    assert [angle for angle, _ in sides] == [0.0, 60.0, 120.0, 180.0, 240.0, 300.0]
    assert all(picture.shape == (64, 64, 4) and 0.2 < picture[..., 3].mean() < 0.95 for _, picture in sides)
    stage, _ = run(tmp_path, text + "[orientation]\nheight = 68.0\nfront = 90.0")
    turned = read_mesh(stage.require("upright")).vertices
    quarter = np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    gap = turned - first @ quarter.T
    assert np.ptp(gap, axis=0).max() < 1e-6  # a quarter turn clockwise, and a centring


def test_a_lean_is_kept_when_asked(tmp_path: Path) -> None:
    lean = np.radians(9.0)
    turn = np.array([[1, 0, 0], [0, np.cos(lean), -np.sin(lean)], [0, np.sin(lean), np.cos(lean)]])
    text = write_scan(tmp_path, moved(statuette(open_bottom=False), TURNED_ON_IMPORT.T @ turn))
    _, level = run(tmp_path, text + "[orientation]\nheight = 68.0")
    _, leaning = run(tmp_path, text + "[orientation]\nheight = 68.0\nkeep_lean = true")
    up = np.array(level.results["orientation"].figures["up"])
    assert np.degrees(np.arccos(up[2])) == pytest.approx(9.0, abs=0.1)
    assert leaning.results["orientation"].figures["up"] == [0.0, 0.0, 1.0]


def test_twice_is_the_same_and_leaves_nothing_over(tmp_path: Path) -> None:
    text = write_scan(tmp_path, moved(statuette(), rotation(2))) + "[orientation]\nheight = 68.0"
    job = sheet.parse("bozzetto = 1\n" + text, STEPS, name="test", folder=tmp_path)
    seen: list[Any] = []
    for _ in range(2):
        stage = Stage(bpy.context.scene, job)
        runner.finish(runner.run_job(STEPS, STEPS, job, stage))
        seen.append((names_of_all(), read_mesh(stage.require("upright")).vertices))
    first, second = ({kind: len(names) for kind, names in each[0].items()} for each in seen)
    assert first == second
    assert seen[0][0]["objects"] == seen[1][0]["objects"] and seen[0][0]["meshes"] == seen[1][0]["meshes"]
    assert np.array_equal(seen[0][1], seen[1][1])
