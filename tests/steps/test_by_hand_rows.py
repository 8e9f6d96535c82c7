"""What is done by hand in the view becomes settings that every run keeps: a crop's shot, strokes of debris, live relief."""

from __future__ import annotations

from pathlib import Path

import bpy
import numpy as np
import pytest

from blender_addon import register, registered, unregister
from blender_addon.job.sheet import JobSheet
from blender_addon.scene import roles
from blender_addon.scene.dressing.debris_brush import brushed, brushed_over
from blender_addon.scene.dressing.set_parts import to_metres
from blender_addon.scene.meshes import make_object
from blender_addon.scene.shots.lens_drivers import FIELD, FOCAL
from blender_addon.scene.stage import Stage
from blender_addon.steps import catalogue
from blender_addon.steps.shots import camera
from blender_addon.ui.hands.crop import add_crop
from blender_addon.ui.on_screen import sheet_of
from scripts.bench._dressed import subject_on_stand, take


@pytest.fixture
def scene():
    bpy.ops.wm.read_factory_settings(use_empty=True)
    ours = not registered()
    if ours:
        register()
    yield bpy.context.scene
    if ours:
        unregister()


def with_shots(scene) -> Stage:
    """A stage with a piece on a stand and its few shots."""
    stage = Stage(scene, JobSheet("crop", Path(), {}))
    for role, mesh in zip(("piece", "stand"), subject_on_stand(), strict=True):
        item = make_object(role, to_metres(mesh))
        scene.collection.objects.link(item)
        roles.mark(item, job=stage.job, step="separation", role=role, key="")
    take(stage, camera, views="few", turntable=False)
    return stage


def test_a_box_over_a_picture_is_a_shot_that_the_camera_step_makes_and_keeps(scene) -> None:
    """Two clicks (the button, the drag). The crop of the middle half stands where the hero stands and shows half as much."""
    stage = with_shots(scene)
    hero = stage.require("shot", "hero")
    where, wide, focal = np.array(hero.matrix_basis)[:3, 3].copy(), float(hero[FIELD]), float(hero[FOCAL])
    assert add_crop(scene, hero, (0.25, 0.25, 0.75, 0.75)) == "hero crop 1"
    sheet = sheet_of(scene, catalogue())
    rows = sheet["camera"].shots
    assert [row.name for row in rows] == ["hero crop 1"]
    for _ in range(2):  # a run, and another
        take(stage, camera, views="few", turntable=False, shots=rows)
        found = stage.require("shot", "hero crop 1")
        assert np.array(found.matrix_basis)[:3, 3] == pytest.approx(where, abs=2e-5)
        assert found[FIELD] == pytest.approx(0.5 * wide, rel=1e-3) and found[FOCAL] > 1.5 * focal
    with pytest.raises(ValueError, match="too small"):
        add_crop(scene, stage.require("shot", "hero"), (0.5, 0.5, 0.5, 0.5))


def test_a_stroke_lays_or_sweeps_within_its_radius_alone() -> None:
    """A table 1 m wide, a stroke along its middle of 50 mm: white or black within 0.7 of the radius, untouched beyond it."""
    grey = np.full((200, 400), 0.5)
    extent = np.array([[-0.5, -0.25], [0.5, 0.25]])
    stroke = np.column_stack([np.linspace(-0.3, 0.3, 121), np.zeros(121)])
    for lay, value in ((True, 1.0), (False, 0.0)):
        found = brushed(grey, extent, stroke, radius=0.05, lay=lay)
        y = (np.arange(200) + 0.5) / 400 - 0.25
        column = found[:, 200]
        assert (column[np.abs(y) < 0.034] == value).all() and (column[np.abs(y) > 0.051] == 0.5).all()
        assert (found[:, :40] == 0.5).all()


def test_a_crop_looks_where_the_box_was_drawn_and_has_the_set_of_its_shot(scene) -> None:
    """A box over the upper right of a 3:2 picture: its middle, seen by the shot, lies where the box's middle was."""
    stage = with_shots(scene)
    hero = stage.require("shot", "hero")
    add_crop(scene, hero, (0.6, 0.5, 0.9, 0.8))
    row = scene.bozzetto.camera.shots[0]
    matrix = np.array(hero.matrix_basis, float)
    seen = (np.array(row.focus) - matrix[:3, 3]) @ matrix[:3, :3]  # in the shot's own axes, in metres
    width = float(hero[FIELD]) / 1000.0  # what the picture is wide at the focus, which the middle lies at
    assert 0.5 + seen[0] / width == pytest.approx(0.75, abs=2e-3)
    assert 0.5 + seen[1] / (width / 1.5) == pytest.approx(0.65, abs=2e-3)
    assert (row.kind, row.name, row.set, row.hide) == ("detail", "hero crop 1", "", "")
    row.set, row.hide = "cloth", "rule"
    hero["bozzetto_key"] = row.name  # as if the camera step had made it
    assert add_crop(scene, hero, (0.1, 0.1, 0.9, 0.9)) == "hero crop 1 crop 1"
    further = scene.bozzetto.camera.shots[1]
    assert (further.set, further.hide) == ("cloth", "rule"), "a crop of a shot shows the set of that shot"


def test_each_stroke_is_a_picture_of_its_own_and_the_users_is_left_alone(scene) -> None:
    mesh = bpy.data.meshes.new("Table")
    mesh.from_pydata([(-0.2, -0.1, 0.0), (0.2, -0.1, 0.0), (0.2, 0.1, 0.0), (-0.2, 0.1, 0.0)], [], [(0, 1, 2, 3)])
    table = bpy.data.objects.new("Table", mesh)
    own = bpy.data.images.new("My mask", 64, 32, float_buffer=True)
    own.pixels.foreach_set(np.full(64 * 32 * 4, 0.25, np.float32))
    first = brushed_over(table, own, np.array([[0.0, 0.0]]), radius=0.03, lay=True)
    second = brushed_over(table, first, np.array([[0.1, 0.0]]), radius=0.03, lay=False)
    assert tuple(first.size) == tuple(second.size) == (64, 32) and len({own.name, first.name, second.name}) == 3
    grey = [np.array(image.pixels).reshape(32, 64, 4)[..., 0] for image in (own, first, second)]
    assert (grey[0] == 0.25).all()
    assert grey[1][16, 32] == pytest.approx(1.0) and grey[1][16, 48] == pytest.approx(0.25)
    assert grey[2][16, 32] == pytest.approx(1.0) and grey[2][16, 48] == pytest.approx(0.0)
