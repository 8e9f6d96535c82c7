"""Is a stored look compared in the shot that its picture shows, whatever shot is viewed by then?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import pytest
from PIL import Image

import blender_addon
from blender_addon.job.sheet import read
from blender_addon.steps import catalogue
from blender_addon.ui.looks import kept

SAMPLE = Path(__file__).parents[1] / "samples" / "0.1.0" / "job.blend"


@pytest.fixture
def tried(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Any:
    """A finished job, and the keys of the shots that were tried in it; each picture is a red one."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    mine = not blender_addon.registered()
    if mine:
        blender_addon.register()
    bpy.ops.wm.open_mainfile(filepath=str(SAMPLE))
    bpy.context.scene.bozzetto.output = str(tmp_path)
    keys: list[str] = []

    def picture(stage: Any, key: str, path: Path) -> None:
        keys.append(key)
        path.parent.mkdir(parents=True, exist_ok=True)  # as a render does
        Image.new("RGB", (8, 6), "red").save(path)

    monkeypatch.setattr(kept, "_trial", picture)
    yield keys
    if mine:
        blender_addon.unregister()


def test_a_look_is_compared_in_the_shot_of_its_picture(tried: list[str], tmp_path: Path) -> None:
    scene = bpy.context.scene
    scene.camera = bpy.data.objects["Shot detail"]
    assert bpy.ops.bozzetto.keep_look() == {"FINISHED"}
    ((sheet, picture),) = kept.looks_of(scene)
    assert picture.is_file() and kept.shot_of(sheet) == "detail"
    assert read(sheet, catalogue()), "it is a job sheet like any other"
    scene.camera = bpy.data.objects["Shot back"]
    assert bpy.ops.bozzetto.compare_look(filepath=str(sheet)) == {"FINISHED"}
    sheet.write_text(sheet.read_text(encoding="utf-8").partition("\n")[2], encoding="utf-8")
    assert kept.shot_of(sheet) == ""
    assert bpy.ops.bozzetto.compare_look(filepath=str(sheet)) == {"FINISHED"}
    assert tried == ["detail", "detail", "back"], "a look that does not say is compared in the viewed shot"


def test_a_look_that_is_gone_is_not_compared(tried: list[str], tmp_path: Path) -> None:
    assert bpy.ops.bozzetto.compare_look(filepath=str(tmp_path / "looks" / "gone.toml")) == {"CANCELLED"}
    assert not tried
