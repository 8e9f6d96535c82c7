"""The installed add-on where the scan steps are unsure: a pose is chosen, pairs are picked, the stand is painted."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest
from mathutils import Vector

from tests.host.small_scan import QUICK_SHEET, write_knob

PACKAGE = "bl_ext.user_default.bozzetto"
LOW, HIGH = (-0.018, 0.0, -0.018), (0.018, 0.004, 0.018)


@pytest.fixture(scope="module")
def scene(installed: str, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """The knob on its plate, and a scan of the plate alone in another unit; run until Registration, which can't be sure."""
    folder: Path = tmp_path_factory.mktemp("job")
    write_knob(folder)
    steps = np.linspace(0.0, 1.0, 13)
    lines, faces, count = [], [], 0
    for axis in range(3):
        for end in (0, 1):
            grid = np.zeros((13, 13, 3))
            grid[..., axis] = end
            grid[..., (axis + 1) % 3], grid[..., (axis + 2) % 3] = np.meshgrid(steps, steps, indexing="ij")
            corners = 1000.0 * (np.array(LOW) + grid * (np.array(HIGH) - np.array(LOW))).reshape(-1, 3)
            lines += [f"v {x:.5f} {y:.5f} {z:.5f}" for x, y, z in corners]
            for i in range(12):
                for j in range(12):
                    quad = [count + 13 * k + m + 1 for k, m in ((i, j), (i + 1, j), (i + 1, j + 1), (i, j + 1))]
                    faces.append("f " + " ".join(map(str, quad if end else quad[::-1])))
            count += len(corners)
    (folder / "plate.obj").write_text("\n".join([*lines, *faces]) + "\n", encoding="ascii")
    scans = '[[intake.scans]]\nfile = "knob.obj"\n[[intake.scans]]\nfile = "plate.obj"\nrole = "stand"\n'
    (folder / "two.toml").write_text(QUICK_SHEET.replace('[intake]\nscan = "knob.obj"\n', scans), encoding="utf-8")
    bpy.ops.bozzetto.read_sheet(filepath=str(folder / "two.toml"))
    bpy.context.scene.bozzetto.output = str(folder / "out")
    assert bpy.ops.bozzetto.run_job(last="registration") == {"FINISHED"}
    return bpy.context.scene


def results(scene: Any) -> dict[str, Any]:
    return sys.modules[f"{PACKAGE}.ui.alignment"].stage_of(bpy.context).results()


def test_a_square_plate_is_chosen_by_its_picture(scene: Any) -> None:
    figures = results(scene)["registration"]["figures"]
    assert figures["verdict_2"] == "not sure" and len(figures["candidates_2"]) >= 4
    assert "Aligned 2" not in bpy.data.objects
    kept = results(scene)["registration"]["decisions"][0]
    assert kept["asked"] and kept["choice"]["words"] == "left out for now" and len(kept["alternatives"]) >= 4
    assert kept["alternatives"][1]["sets"] == {"registration.choices": [{"scan": "2", "candidate": 2}]}
    assert all(name.endswith(".png") for name in kept["pictures"][1:])
    pictures = sys.modules[f"{PACKAGE}.scene.scan.alignment_pictures"]
    alignment = sys.modules[f"{PACKAGE}.ui.alignment"]
    shown = pictures.pose_pictures(alignment.stage_of(bpy.context), "2")
    assert pictures.open_scans(results(scene)) == ["2"]
    assert [number for number, _ in shown][:4] == [1, 2, 3, 4]
    assert all(picture.shape == (128, 256, 4) and picture.std() > 0.05 for _, picture in shown)
    assert bpy.ops.bozzetto.answer(step="registration", key="fit_2", way=2) == {"FINISHED"}
    assert [(row.scan, row.candidate) for row in scene.bozzetto.registration.choices] == [("2", 2)]
    assert results(scene)["registration"]["figures"]["used_2"] is True
    size = bpy.data.objects["Aligned 2"].dimensions
    assert sorted(size)[1:] == pytest.approx([0.036, 0.036], abs=0.0005)


def test_picked_pairs_are_in_the_scans_own_coordinates(scene: Any) -> None:
    """Rays straight down on three spots of each copy; the rows say them in the scans' units (metres; millimetres)."""
    alignment, picking = (sys.modules[f"{PACKAGE}.{name}"] for name in ("ui.alignment", "scene.scan.pair_picking"))
    stage = alignment.stage_of(bpy.context)
    before = len(bpy.data.objects)
    pairs = picking.PairPicking(scene, stage.require("upright"), stage.require("clean", "2"))
    bpy.context.view_layer.update()
    first, further = pairs.item("first"), pairs.item("further")
    assert first.dimensions.length == pytest.approx(further.dimensions.length, rel=1e-3)
    matrix = pairs.matrix
    for x, z in ((-0.015, -0.015), (0.015, -0.014), (-0.013, 0.016)):
        assert pairs.wanted() == "first"
        on_first = first.matrix_world @ matrix @ Vector((x, -z, 0.004))  # the importer turns y up into z up
        assert pairs.pick(on_first + Vector((0, 0, 0.001)), Vector((0, 0, -1)))
        on_further = further.matrix_world @ Vector((1000 * x, -1000 * z, 4.0))
        out = (further.matrix_world.to_3x3() @ Vector((0, 0, 1))).normalized()
        assert not pairs.pick(on_further + out, out)  # looks away from it
        assert pairs.pick(on_further + 0.001 * out, -out)
    assert pairs.done() and len(pairs.shown()) == 6
    for further_spot, first_spot in pairs.pairs():
        assert further_spot == pytest.approx(tuple(1000.0 * part for part in first_spot), abs=0.1)
    rows = scene.bozzetto.registration.pairs
    for further_spot, first_spot in pairs.pairs():
        row = rows.add()
        row.scan, row.use_on_further, row.use_on_first = "2", True, True
        row.on_further, row.on_first = further_spot, first_spot
    pairs.undo()
    assert not pairs.done()
    pairs.end()
    assert len(bpy.data.objects) == before
    scene.bozzetto.registration.choices.clear()
    assert bpy.ops.bozzetto.run_job(first="registration", last="registration") == {"FINISHED"}
    assert "matching spots" in results(scene)["registration"]["figures"]["reason_2"]
    rows.clear()


def test_a_point_from_the_cursor_is_in_the_scans_own_coordinates(scene: Any) -> None:
    upright = bpy.data.objects["Upright"]
    own = np.array(upright["bozzetto_matrix"]).reshape(4, 4)
    there = own @ np.array([0.015, 0.004, 0.012, 1.0])
    scene.cursor.location = there[:3]
    assert bpy.ops.bozzetto.point_from_cursor(group="bozzetto.orientation", field="point_a") == {"FINISHED"}
    assert tuple(scene.bozzetto.orientation.point_a) == pytest.approx((0.015, 0.004, 0.012), abs=1e-6)
    scene.bozzetto.orientation.use_point_a = False
    spot = scene.bozzetto.closeups.spots.add()  # asked in the scan's own coordinates, and in the scene's
    for field in ("on_scan", "on_piece"):
        assert bpy.ops.bozzetto.point_from_cursor(group="bozzetto.closeups.spots[0]", field=field) == {"FINISHED"}
    assert tuple(spot.on_scan) == pytest.approx((0.015, 0.004, 0.012), abs=1e-6)
    assert tuple(spot.on_piece) == pytest.approx(there[:3], abs=1e-6)
    scene.bozzetto.closeups.spots.clear()


def test_painting_cuts_where_it_was_painted(scene: Any) -> None:
    assert bpy.ops.bozzetto.run_job(first="separation", last="separation") == {"FINISHED"}
    scene.bozzetto.separation.stand_from = "1"
    assert bpy.ops.bozzetto.paint_stand() == {"FINISHED"}
    upright = bpy.data.objects["Upright"]
    assert bpy.context.mode == "PAINT_VERTEX" and bpy.context.view_layer.objects.active == upright
    assert not upright.hide_viewport
    bpy.ops.object.mode_set(mode="OBJECT")
    height = np.array([vertex.co.z for vertex in upright.data.vertices])
    layer = upright.data.color_attributes["bozzetto_stand"]
    layer.data.foreach_set("color", np.repeat((height < 0.02).astype(np.float32), 4))
    bpy.context.view_layer.objects.active = upright
    bpy.ops.object.mode_set(mode="VERTEX_PAINT")
    assert bpy.ops.bozzetto.paint_stand() == {"FINISHED"}
    assert bpy.context.mode == "OBJECT"
    assert bpy.data.objects["Stand"].dimensions.z == pytest.approx(0.02, abs=0.002)  # a row of the knob is 1.4 mm
