"""The installed add-on's tab without a window: what the first panel asks, why the button is grey, jobs dropped and loaded."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import bpy
import pytest

from tests.host.small_scan import QUICK_SHEET, write_knob

PACKAGE = "bl_ext.user_default.bozzetto"


def module(name: str) -> Any:
    return sys.modules[f"{PACKAGE}.{name}"]


@pytest.fixture
def job(installed: str) -> Any:
    """The job's settings in an empty file."""
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    if not hasattr(bpy.types.Scene, "bozzetto"):
        bpy.ops.preferences.addon_enable(module=installed)
    return bpy.context.scene.bozzetto


def rows(job: Any) -> list[tuple[str, str]]:
    return [(Path(row.file).name, row.role) for row in job.intake.scans]


def test_the_first_panel_writes_the_list_of_scans(job: Any) -> None:
    job.stand_scan = "/scans/stand.obj"
    job.scan = "/scans/piece.obj"
    assert rows(job) == [("piece.obj", "whole"), ("stand.obj", "stand")]
    assert (job.scan, job.stand_scan) == ("/scans/piece.obj", "/scans/stand.obj")
    job.scan = "/scans/other.obj"
    job.stand_scan = ""
    assert rows(job) == [("other.obj", "whole")]


def test_the_button_says_why_it_is_grey(job: Any, tmp_path: Path) -> None:
    why_not = module("ui.panels").why_not
    assert "Choose the scan first" in why_not(bpy.context.scene)
    job.scan = str(tmp_path / "gone.obj")
    assert '"gone.obj"' in why_not(bpy.context.scene) and str(tmp_path) not in why_not(bpy.context.scene)
    job.scan = str(write_knob(tmp_path))
    assert why_not(bpy.context.scene) == ""


def test_dropped_files_find_their_place(job: Any, tmp_path: Path) -> None:
    scan = write_knob(tmp_path)
    stand = tmp_path / "stand.obj"
    stand.write_text(scan.read_text(encoding="utf-8"), encoding="utf-8")
    drop = bpy.ops.bozzetto.drop_scan
    assert drop(filepath=str(scan)) == {"FINISHED"}
    assert drop(filepath=str(stand), use_as="stand_scan") == {"FINISHED"}
    assert rows(job) == [("knob.obj", "whole"), ("stand.obj", "stand")]
    job.intake.scans.clear()
    assert drop(directory=str(tmp_path), files=[{"name": "knob.obj"}, {"name": "stand.obj"}]) == {"FINISHED"}
    assert rows(job) == [("knob.obj", "whole"), ("stand.obj", "stand")]
    sheet = tmp_path / "knob.toml"
    sheet.write_text(QUICK_SHEET, encoding="utf-8")
    assert drop(filepath=str(sheet)) == {"FINISHED"}
    assert job.orientation.use_height and job.orientation.height == pytest.approx(0.042)
    assert drop() == {"CANCELLED"}
    for answer in ("take", "use_as"):  # else an answer given once would hold for a file that is dropped without a question
        assert drop.get_rna_type().properties[answer].is_skip_save, answer


def test_a_job_saved_is_loaded_again_and_remembered(job: Any, tmp_path: Path) -> None:
    job.scan = str(tmp_path / "piece.obj")
    job.material.piece = "bronze"
    assert bpy.ops.bozzetto.write_sheet(filepath=str(tmp_path / "owl.final")) == {"FINISHED"}
    saved = tmp_path / "owl.final.toml"
    assert saved.is_file() and not (tmp_path / "owl.toml").exists()
    job.material.piece = "clay"
    assert bpy.ops.bozzetto.load_recent(filepath=str(saved)) == {"FINISHED"}
    assert job.material.piece == "bronze"
    assert module("ui.folders").recent()[0] == saved.resolve()
    saved.unlink()
    assert saved.resolve() not in module("ui.folders").recent()


def test_a_failure_is_kept_for_the_tab_and_goes_with_the_next_run(job: Any, tmp_path: Path) -> None:
    broken = tmp_path / "broken.obj"
    broken.write_text("v 0 0 0\nv 1 0 0\n", encoding="ascii")
    job.scan, job.output = str(broken), str(tmp_path / "out")
    with pytest.raises(RuntimeError):
        bpy.ops.bozzetto.run_job(last="intake")
    assert job.failed_words and job.failed_step in ("", "intake")
    job.scan = str(write_knob(tmp_path))
    assert bpy.ops.bozzetto.run_job(last="intake") == {"FINISHED"}
    assert job.failed_words == job.failed_step == ""


def test_each_step_has_a_line_and_says_what_it_waits_for(job: Any, tmp_path: Path) -> None:
    panels, state = module("ui.panels"), module("ui.job_state")
    steps = {step.name: step for step in module("steps").catalogue()}
    assert state.refreshed(bpy.context.scene).missing(steps["cleanup"]) == 'Run "Load scans" first'
    job.scan, job.output = str(write_knob(tmp_path)), str(tmp_path / "out")
    job.orientation.use_height, job.orientation.height = True, 0.042
    assert bpy.ops.bozzetto.run_job(last="orientation") == {"FINISHED"}
    now = state.refreshed(bpy.context.scene)
    assert now.missing(steps["cleanup"]) == "" and now.missing(steps["material"]) == 'Run "Separation" first'
    assert "42.0 mm" in panels.short_line(steps["orientation"], now, job)
    job.orientation.height = 0.05
    now = state.refreshed(bpy.context.scene)
    assert panels.short_line(steps["orientation"], now, job) == "out of date"
    assert panels.short_line(steps["material"], now, job) == ""


def test_an_edit_that_was_kept_is_reported(job: Any, tmp_path: Path) -> None:
    panels, state = module("ui.panels"), module("ui.job_state")
    step = next(step for step in module("steps").catalogue() if step.name == "orientation")
    job.scan, job.output = str(write_knob(tmp_path)), str(tmp_path / "out")
    assert bpy.ops.bozzetto.run_job(last="orientation") == {"FINISHED"}
    bpy.data.objects["Upright"].location.x += 0.01
    assert bpy.ops.bozzetto.run_job(first="orientation", last="orientation") == {"FINISHED"}
    now = state.refreshed(bpy.context.scene)
    assert now.kept("orientation") and panels.short_line(step, now, job).endswith("(edited)")
    assert bpy.ops.bozzetto.run_job(first="orientation", last="orientation", afresh=True) == {"FINISHED"}
    assert not state.refreshed(bpy.context.scene).kept("orientation")
    assert bpy.data.objects["Upright"].location.x == 0.0


def test_settings_go_back_to_their_defaults(job: Any) -> None:
    job.camera.shots.add()
    job.camera.fill, job.camera.use_tilt = 50.0, True
    assert bpy.ops.bozzetto.default_settings(step="camera") == {"FINISHED"}
    assert job.camera.fill == 70.0 and not job.camera.use_tilt and not len(job.camera.shots)


def test_a_file_of_an_older_version_keeps_its_settings(job: Any, tmp_path: Path) -> None:
    """0.1.0 called the lens's glare bloom and the step albedo delighting; its .blend holds the values under those names."""
    job.lighting.bloom = 7.0
    job.cleanup.close = False
    job.delighting.strength = 0.25
    path = tmp_path / "old.blend"
    bpy.ops.wm.save_as_mainfile(filepath=str(path), check_existing=False)
    bpy.ops.wm.open_mainfile(filepath=str(path))
    again = bpy.context.scene.bozzetto
    assert again.lighting.glare == 7.0 and again.cleanup.fill_holes is False
    assert again.albedo.strength == 0.25
    assert not again.lighting.is_property_set("bloom") and not again.delighting.is_property_set("strength")


def test_new_jobs_begin_with_what_the_preferences_keep(job: Any, installed: str, tmp_path: Path) -> None:
    kept = bpy.context.preferences.addons[installed].preferences
    kept.material_piece = "wood"
    try:
        job.scan = str(tmp_path / "piece.obj")
        assert job.material.piece == "wood"
        job.material.piece = "stone"
        job.scan = str(tmp_path / "other.obj")
        assert job.material.piece == "stone"  # a job that has begun is left alone
    finally:
        kept.property_unset("material_piece")


def test_a_piece_in_edit_mode_is_left_first(job: Any, tmp_path: Path) -> None:
    job.scan, job.output = str(write_knob(tmp_path)), str(tmp_path / "out")
    assert bpy.ops.bozzetto.run_job(last="separation") == {"FINISHED"}
    bpy.context.view_layer.objects.active = bpy.data.objects["Piece"]
    bpy.ops.object.mode_set(mode="EDIT")
    assert bpy.ops.bozzetto.run_job(first="separation", last="separation") == {"FINISHED"}
    assert bpy.context.mode == "OBJECT"
