"""The button of the sample sheet in the installed add-on."""

from __future__ import annotations

from pathlib import Path

import bpy
import pytest

from tests.host.small_scan import QUICK_SHEET, write_knob


def test_the_button_makes_the_sheet_once_there_is_light(installed: str, tmp_path: Path) -> None:
    write_knob(tmp_path)
    (tmp_path / "knob.toml").write_text(QUICK_SHEET, encoding="utf-8")
    bpy.ops.bozzetto.read_sheet(filepath=str(tmp_path / "knob.toml"))
    scene, out = bpy.context.scene, tmp_path / "out"
    scene.bozzetto.output = str(out)
    with pytest.raises(RuntimeError, match="run the job until Lighting"):
        bpy.ops.bozzetto.sample_sheet()
    assert bpy.ops.bozzetto.run_job(last="lighting") == {"FINISHED"}
    worn = [slot.material.name for slot in bpy.data.objects["Piece"].material_slots]
    assert bpy.ops.bozzetto.sample_sheet() == {"FINISHED"}
    assert (out / "sample_sheet.png").stat().st_size > 20_000
    assert [slot.material.name for slot in bpy.data.objects["Piece"].material_slots] == worn
