"""Does the installed zip's command line, its sheet operators and its refusals work as in the source?"""

from __future__ import annotations

import json
import tomllib
from pathlib import Path
from typing import Any

import bpy
import pytest

from tests.host.small_scan import QUICK_SHEET


def names() -> list[str]:
    """All data-blocks that a job could make."""
    return sorted(
        block.name
        for kind in ("objects", "meshes", "materials", "images", "cameras", "lights")
        for block in getattr(bpy.data, kind)
    )


def test_the_command_runs_until_a_step_and_on_from_there(job: Path, command: Any, tmp_path: Path) -> None:
    out = tmp_path / "out"
    assert command(["run", str(job), "--out", str(out), "--until", "orientation", "--quiet"]) == 0
    figures = json.loads((out / "figures.json").read_text(encoding="utf-8"))
    assert set(figures) == {"intake", "cleanup", "orientation"}
    assert figures["orientation"]["height_mm"] == pytest.approx(42.0, rel=1e-3)
    assert command(["run", str(job), "--out", str(out), "--from", "registration", "--until", "separation", "--quiet"]) == 0
    assert set(json.loads((out / "figures.json").read_text(encoding="utf-8"))) >= {"orientation", "separation"}
    assert (out / "knob.blend").stat().st_size > 0


def test_a_setting_can_be_overridden(job: Path, command: Any, tmp_path: Path) -> None:
    out = tmp_path / "out"
    more = ["--set", "orientation.height=84", "--until", "orientation", "--quiet"]
    assert command(["run", str(job), "--out", str(out), *more]) == 0
    figures = json.loads((out / "figures.json").read_text(encoding="utf-8"))
    assert figures["orientation"]["height_mm"] == pytest.approx(84.0, rel=1e-3)


WRONG = {
    "an unknown field": (QUICK_SHEET.replace("height = 42.0", "heigth = 42.0"), "height"),
    "an unknown step": (QUICK_SHEET.replace("[render]", "[rendering]"), "render"),
    "a wrong kind of value": (QUICK_SHEET.replace("height = 42.0", 'height = "tall"'), "height"),
    "a value past its limits": (QUICK_SHEET.replace("height = 42.0", "height = -3.0"), "height"),
    "a newer sheet": (QUICK_SHEET.replace("bozzetto = 1", "bozzetto = 99"), "99"),
    "a scan that is not there": (QUICK_SHEET.replace("knob.obj", "knbo.obj"), "knbo.obj"),
    "no TOML": ("this is [no sheet", "knob.toml"),
}


@pytest.mark.parametrize("case", WRONG)
def test_what_is_wrong_is_refused_by_name(case: str, job: Path, command: Any, tmp_path: Path, capsys: Any) -> None:
    text, named = WRONG[case]
    job.write_text(text, encoding="utf-8")
    assert command(["run", str(job), "--out", str(tmp_path / "out"), "--until", "orientation", "--quiet"]) == 1
    words = capsys.readouterr().err
    assert named in words, words
    assert "Traceback" not in words
    assert not list((tmp_path / "out").glob("*.blend"))


BROKEN_SCANS = {
    "empty": b"",
    "not a mesh": b"\x00\x01\x02 hello",
    "no faces": b"v 0 0 0\nv 1 0 0\nv 0 1 0\n",
    "not a number": b"v 0 0 0\nv nan 0 0\nv 0 1 0\nf 1 2 3\n",
}


@pytest.mark.parametrize("case", BROKEN_SCANS)
def test_a_broken_scan_leaves_the_scene_as_it_was(case: str, job: Path) -> None:
    (job.parent / "knob.obj").write_bytes(BROKEN_SCANS[case])
    bpy.data.objects.new("mine", bpy.data.meshes.new("mine"))
    before = names()
    bpy.context.scene.bozzetto.scan = str(job.parent / "knob.obj")
    bpy.context.scene.bozzetto.output = str(job.parent / "out")
    with pytest.raises(RuntimeError, match=r"knob\.obj"):
        bpy.ops.bozzetto.run_job(last="orientation")
    assert names() == before


def test_a_sheet_written_from_the_screen_says_the_same(job: Path, tmp_path: Path) -> None:
    bpy.ops.bozzetto.read_sheet(filepath=str(job))
    bpy.ops.bozzetto.write_sheet(filepath=str(tmp_path / "again.toml"))
    again = tomllib.loads((tmp_path / "again.toml").read_text(encoding="utf-8"))
    assert again["bozzetto"] == 1
    assert again["orientation"]["height"] == pytest.approx(42.0, rel=1e-6)
    assert again["render"]["size"] == 96
    assert Path(again["intake"]["scans"][0]["file"]).name == "knob.obj"
    bpy.ops.bozzetto.read_sheet(filepath=str(tmp_path / "again.toml"))
    bpy.ops.bozzetto.write_sheet(filepath=str(tmp_path / "third.toml"))
    assert (tmp_path / "third.toml").read_bytes() == (tmp_path / "again.toml").read_bytes()


def test_a_new_sheet_is_made_and_read_back(job: Path, command: Any, tmp_path: Path) -> None:
    target = tmp_path / "fresh.toml"
    assert command(["new", str(tmp_path / "knob.obj"), "--height", "42", "--to", str(target)]) == 0
    assert command(["run", str(target), "--out", str(tmp_path / "out"), "--until", "intake", "--quiet"]) == 0


def test_the_command_leaves_the_preferences_alone(job: Path, command: Any, tmp_path: Path) -> None:
    """The graphics card is a preference; a run must not put it back to none."""
    bpy.context.preferences.view.ui_scale = 1.25
    assert command(["run", str(job), "--out", str(tmp_path / "out"), "--until", "intake", "--quiet"]) == 0
    assert bpy.context.preferences.view.ui_scale == pytest.approx(1.25)


def test_preferences_are_there_and_hold(installed: str) -> None:
    preferences = bpy.context.preferences.addons[installed].preferences
    preferences.device = "cpu"
    preferences.output = "/pictures"
    assert (preferences.device, preferences.output) == ("cpu", "/pictures")
    preferences.device, preferences.output = "auto", ""


def test_what_the_job_wrote_opens_without_the_add_on(job: Path, command: Any, installed: str, tmp_path: Path) -> None:
    """Ordinary Blender data: the .blend opens with the add-on disabled, the piece is there at its size."""
    out = tmp_path / "out"
    assert command(["run", str(job), "--out", str(out), "--until", "material", "--quiet"]) == 0
    bpy.ops.preferences.addon_disable(module=installed)
    bpy.ops.wm.open_mainfile(filepath=str(out / "knob.blend"))
    heights = [o.dimensions.z for o in bpy.data.objects if o.type == "MESH" and o.get("bozzetto_role") == "upright"]
    assert heights and max(heights) == pytest.approx(0.042, rel=1e-3)
    piece = next(o for o in bpy.data.objects if o.get("bozzetto_role") == "piece")
    assert piece.active_material is not None and piece.active_material.node_tree.nodes
