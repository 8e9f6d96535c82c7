"""The lens's panel in the installed add-on: shots to look through, points to pick, questions that set the lens."""

from __future__ import annotations

import sys
from typing import Any

import bpy
import numpy as np
import pytest

from tests.host.small_scan import run_until


@pytest.fixture(scope="module")
def scene(installed: str, tmp_path_factory: pytest.TempPathFactory) -> Any:
    """The small scan until its shots are framed."""
    return run_until(tmp_path_factory.mktemp("job"), "camera")


def shot(name: str) -> Any:
    item = bpy.data.objects[f"Shot {name}"]
    item.update_tag()
    bpy.context.view_layer.update()
    return item


def test_looking_through_a_shot(scene: Any) -> None:
    lens = sys.modules["bl_ext.user_default.bozzetto.ui.lens"]
    assert [camera.name for camera in lens.shots_of(scene)] == ["Shot hero", "Shot detail", "Shot back", "Shot turntable"]
    assert all(camera.preview is not None and camera.preview.is_image_custom for camera in lens.shots_of(scene))
    assert bpy.ops.bozzetto.view_shot(shot="Shot back") == {"FINISHED"}
    assert scene.camera == shot("back")
    assert bpy.ops.bozzetto.view_shot(shot="Shot hero") == {"FINISHED"}
    assert bpy.ops.bozzetto.view_shot(shot="gone") == {"CANCELLED"}


def test_points_from_cursor_and_from_selection(scene: Any) -> None:
    manager = bpy.context.window_manager
    scene.cursor.location = (0.01, 0.02, 0.03)
    assert bpy.ops.bozzetto.lens_point(end="FROM") == {"FINISHED"}
    with pytest.raises(RuntimeError, match="Pick two points first"):  # what is not picked is not the origin
        bpy.ops.bozzetto.lens_hold(what="POINTS")
    assert tuple(manager.bozzetto_hold_from) == pytest.approx((0.01, 0.02, 0.03))
    piece = bpy.data.objects["Piece"]
    bpy.context.view_layer.objects.active = piece
    bpy.ops.object.mode_set(mode="EDIT")
    bpy.ops.mesh.select_all(action="SELECT")
    assert bpy.ops.bozzetto.lens_point(end="TO") == {"FINISHED"}
    bpy.ops.object.mode_set(mode="OBJECT")
    middle = np.mean([piece.matrix_world @ vertex.co for vertex in piece.data.vertices], axis=0)
    assert tuple(manager.bozzetto_hold_to) == pytest.approx(tuple(middle), abs=1e-5)


def test_from_here_to_there(scene: Any) -> None:
    hero, manager = shot("hero"), bpy.context.window_manager
    back = hero.matrix_world.col[2].to_3d()
    for name, far in (("bozzetto_hold_from", -0.004), ("bozzetto_hold_to", 0.005)):
        setattr(manager, name, hero.matrix_world.translation - back * (hero["bozzetto_focus_mm"] / 1000 + far))
    before = hero["bozzetto_focus_mm"]
    assert bpy.ops.bozzetto.lens_hold(what="POINTS") == {"FINISHED"}
    hero = shot("hero")
    slack = 0.5  # mm: a marked stop may stand for 1.5 % more blur, and points are kept in single precision
    assert hero["bozzetto_near_mm"] <= before - 4.0 + slack and hero["bozzetto_far_mm"] >= before + 5.0 - slack


def test_the_whole_face(scene: Any) -> None:
    assert bpy.ops.bozzetto.lens_hold(what="FACE") == {"FINISHED"}
    hero, piece = shot("hero"), bpy.data.objects["Piece"]
    back = hero.matrix_world.col[2].to_3d().normalized()
    top = max((piece.matrix_world @ vertex.co).z for vertex in piece.data.vertices)
    face = [piece.matrix_world @ vertex.co for vertex in piece.data.vertices]
    face = [place for place in face if 0.7 < place.z / top < 0.9]
    nearest = 1000 * min((hero.matrix_world.translation - place).dot(back) for place in face)
    assert hero["bozzetto_near_mm"] - 0.3 <= nearest <= hero["bozzetto_far_mm"]  # a stop's mark may stand for 1.5 % more


def test_what_no_lens_holds_changes_nothing_unless_something_else_is_chosen(scene: Any) -> None:
    hero, manager = shot("hero"), bpy.context.window_manager
    back = hero.matrix_world.col[2].to_3d()
    for name, far in (("bozzetto_hold_from", 0.5), ("bozzetto_hold_to", 20.0)):
        setattr(manager, name, hero.matrix_world.translation - back * (hero["bozzetto_focus_mm"] / 1000 * far))
    before = hero["bozzetto_fnumber"], hero["bozzetto_focus_mm"]
    assert bpy.ops.bozzetto.lens_hold(what="POINTS") == {"CANCELLED"}
    assert (hero["bozzetto_fnumber"], hero["bozzetto_focus_mm"]) == before and "bozzetto_depth" not in hero
    assert bpy.ops.bozzetto.lens_hold(what="POINTS", instead="FRAMES") == {"FINISHED"}
    assert hero["bozzetto_depth"] == "frames" and len(hero["bozzetto_bracket_mm"]) > 1
    assert bpy.ops.bozzetto.lens_hold(what="WHOLE") == {"FINISHED"}
    assert "bozzetto_depth" not in hero


def test_distance_and_focal_length(scene: Any) -> None:
    hero = shot("hero")
    before = hero["bozzetto_focus_mm"]
    assert bpy.ops.bozzetto.lens_fill(share=40.0) == {"FINISHED"}
    assert shot("hero")["bozzetto_focus_mm"] > before
    m = shot("hero")["bozzetto_magnification"]
    assert bpy.ops.bozzetto.lens_focal(focal=150.0) == {"FINISHED"}
    assert shot("hero")["bozzetto_magnification"] == pytest.approx(m, rel=1e-4)
    with pytest.raises(RuntimeError, match="Pick two points"):
        bpy.context.window_manager.bozzetto_hold_from = bpy.context.window_manager.bozzetto_hold_to
        bpy.ops.bozzetto.lens_hold(what="POINTS")


def test_a_shots_own_point_comes_from_the_cursor_in_millimetres(scene: Any) -> None:
    assert bpy.ops.bozzetto.row(step="camera", field="shots", action="ADD") == {"FINISHED"}
    row = scene.bozzetto.camera.shots[0]
    scene.cursor.location = (0.001, -0.012, 0.03)
    assert bpy.ops.bozzetto.point_from_cursor(group=row.path_from_id(), field="focus") == {"FINISHED"}
    properties = sys.modules["bl_ext.user_default.bozzetto.ui.properties"]
    sheet = properties.sheet_of(scene, sys.modules["bl_ext.user_default.bozzetto.steps"].catalogue())
    assert sheet["camera"].shots[0].focus == pytest.approx((1.0, -12.0, 30.0), abs=1e-4)
    scene.bozzetto.camera.shots.clear()


def test_lengths_show_in_millimetres_before_the_first_run(scene: Any) -> None:
    fresh = bpy.data.scenes.new("fresh")
    assert fresh.unit_settings.length_unit != "MILLIMETERS"
    fresh.bozzetto.scan = "/tmp/owl.obj"
    assert fresh.unit_settings.length_unit == "MILLIMETERS"
    bpy.data.scenes.remove(fresh)


def test_the_working_distance_is_to_the_nearest_point_not_to_a_box(scene: Any) -> None:
    overlays = sys.modules["bl_ext.user_default.bozzetto.ui.overlays"]
    hero, piece = shot("hero"), bpy.data.objects["Piece"]
    back = hero.matrix_world.col[2].to_3d().normalized()
    depth = [(hero.matrix_world.translation - piece.matrix_world @ vertex.co).dot(back) for vertex in piece.data.vertices]
    assert overlays.read_out_of(hero).working_distance == pytest.approx(1000 * min(depth), abs=1e-2)
