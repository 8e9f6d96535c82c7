"""Does the sample sheet show the piece in every material and leave the scene as it was?"""

from __future__ import annotations

from pathlib import Path

import bpy
import pytest

from blender_addon.job import sheet as sheets
from blender_addon.job.runner import finish, run_job
from blender_addon.job.step import from_module, ordered
from blender_addon.scene.delivery.output import Quality
from blender_addon.scene.delivery.sample_sheet import materials_for_samples, render_samples
from blender_addon.scene.prints.fingerprint import fingerprint
from blender_addon.scene.stage import Stage
from blender_addon.scene.surface.surfaces import samples
from blender_addon.steps.surface import material as step
from tests.steps.dressing.lit_lump import STEPS as LIT

pytestmark = pytest.mark.usefixtures("empty_scene")


def dressed(out: Path) -> Stage:
    """A lump with two cameras, in its material and light."""
    parts = [entry for entry in LIT if entry.name != "separation"]
    lump = next(entry for entry in LIT if entry.name == "separation")
    roles = ("piece", "stand", "albedo", "relief_height", "relief_normal")
    steps = ordered([type(lump)(**{**vars(lump), "makes": roles}), *parts, from_module(step)])
    sheet = sheets.blank(steps)
    stage = Stage(bpy.context.scene, sheet, out=out)
    finish(run_job(steps, steps, sheet, stage))
    return stage


def test_every_sample_is_made_and_taken_away(tmp_path: Path) -> None:
    stage = dressed(tmp_path)
    before = len(bpy.data.materials), len(bpy.data.node_groups)
    labels = [label for label, material in materials_for_samples(stage) if material.node_tree.nodes]
    # the lump has no colour of its own, so that one is left out
    assert labels == [label for label, kind, _ in samples() if kind != "own"]
    assert (len(bpy.data.materials), len(bpy.data.node_groups)) == before


def test_samples_are_rendered_whole_and_differ(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    stage = dressed(tmp_path)
    monkeypatch.setattr("blender_addon.scene.delivery.sample_sheet.LONG_SIDE", 48)
    chosen = tuple(row for row in samples() if row[0] in ("Plaster", "Bronze, brown patina", "Walnut, oiled"))
    monkeypatch.setattr("blender_addon.scene.delivery.sample_sheet.samples", lambda: chosen)
    piece = stage.require("piece")
    before = fingerprint(piece), [slot.material.name for slot in piece.material_slots], stage.scene.view_settings.exposure
    rendered = list(render_samples(stage, "cpu", Quality(8, 0.0, denoise=False)))
    assert [label for _, _, label, _ in rendered] == [label for label, _, _ in chosen]
    contents = {path.read_bytes() for *_, path in rendered}
    assert len(contents) == 3
    piece = stage.require("piece")
    after = fingerprint(piece), [slot.material.name for slot in piece.material_slots], stage.scene.view_settings.exposure
    assert after == before
