"""The button of the sample sheet in the installed add-on, and the looks that are kept and compared in the same light."""

from __future__ import annotations

import importlib
import sys
from pathlib import Path

import bpy
import pytest

from tests.host.small_scan import FEW_THINGS, QUICK_SHEET, write_knob

PACKAGE = "bl_ext.user_default.bozzetto"


def test_sheet_and_looks_are_made_once_there_is_light(installed: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    write_knob(tmp_path)
    (tmp_path / "knob.toml").write_text(QUICK_SHEET + FEW_THINGS, encoding="utf-8")
    bpy.ops.bozzetto.read_sheet(filepath=str(tmp_path / "knob.toml"))
    scene, out = bpy.context.scene, tmp_path / "out"
    scene.bozzetto.output = str(out)
    with pytest.raises(RuntimeError, match="run the job until Lighting"):
        bpy.ops.bozzetto.sample_sheet()
    assert bpy.ops.bozzetto.run_job(last="lighting") == {"FINISHED"}
    worn = [slot.material.name for slot in bpy.data.objects["Piece"].material_slots]
    module = importlib.import_module(f"{PACKAGE}.scene.delivery.sample_sheet")
    few = module.samples()[:2]  # all 25 take two minutes
    monkeypatch.setattr(module, "samples", lambda: few)
    assert bpy.ops.bozzetto.sample_sheet() == {"FINISHED"}
    assert (out / "sample_sheet.png").stat().st_size > 20_000
    assert [slot.material.name for slot in bpy.data.objects["Piece"].material_slots] == worn
    samples, kept = (sys.modules[f"{PACKAGE}.ui.looks.{name}"] for name in ("samples", "kept"))
    assert [place for place, _ in samples.pictures_of_samples(scene)][:2] == [0, 1]
    (out / "samples" / "03_beeswax.png").write_bytes(b"")  # the number that a former list of samples gave it
    assert "03_beeswax.png" not in {path.name for _, path in samples.pictures_of_samples(scene)}
    monkeypatch.setattr(kept, "SIDE", 256)
    assert bpy.ops.bozzetto.keep_look() == {"FINISHED"}
    ((sheet, picture),) = kept.looks_of(scene)
    assert sheet.name == "look 1.toml" and picture.stat().st_size > 20_000
    scene.bozzetto.material.piece, scene.bozzetto.orientation.height = "plaster", 0.05
    kept.take_look(scene, sys.modules[f"{PACKAGE}.job.sheet"].read(sheet, sys.modules[f"{PACKAGE}.steps"].catalogue()))
    assert scene.bozzetto.material.piece == "clay" and scene.bozzetto.orientation.height == pytest.approx(0.05)
    scene.bozzetto.orientation.height = 0.042
    assert strengths_seen(monkeypatch, relief=False) == [0.0] * len(strengths()) != strengths()
    assert strengths_seen(monkeypatch, relief=True) == strengths() != []
    assert not sys.modules[f"{PACKAGE}.ui.job_state"].refreshed(scene).late


def strengths() -> list[float]:
    """How strong the piece's material shows its relief."""
    nodes = sys.modules[f"{PACKAGE}.scene.nodes.materials"].relief_nodes
    slots = bpy.data.objects["Piece"].material_slots
    return [node.inputs["Strength"].default_value for slot in slots for node in nodes(slot.material.node_tree)]


def strengths_seen(monkeypatch: pytest.MonkeyPatch, *, relief: bool) -> list[float]:
    """The same while a shot is tried."""
    trial, seen = sys.modules[f"{PACKAGE}.scene.delivery.trial"], []
    monkeypatch.setattr(trial, "render_picture", lambda *_, **__: seen.extend(strengths()))
    stage = sys.modules[f"{PACKAGE}.ui.job_state"].stage_of(bpy.context)
    trial.try_shot(stage, stage.require("shot", "hero"), Path("none.png"), side=64, device="CPU", relief=relief)
    return seen
