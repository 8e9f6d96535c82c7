"""The questions asked of a shot's camera: answers that hold in Blender's own camera, set as an edit that runs keep."""

from __future__ import annotations

import bpy
import numpy as np
import pytest

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.shots import optics
from blender_addon.core.shots.focus_bracket import bracket, gap
from blender_addon.job.errors import SubjectError
from blender_addon.job.runner import finish, run_job
from blender_addon.job.settings import build
from blender_addon.job.sheet import blank
from blender_addon.job.step import from_module
from blender_addon.scene import roles
from blender_addon.scene.meshes import make_object
from blender_addon.scene.shots import lens_questions
from blender_addon.scene.shots.cameras import optics_of, vertices_mm
from blender_addon.scene.stage import Stage
from blender_addon.steps.shots import camera

pytestmark = pytest.mark.usefixtures("empty_scene")


def scene_of(wide: float = 0.55, **settings: object) -> Stage:
    """An egg 80 mm tall, `wide` times as wide, photographed by the camera step; the hero alone, if `settings` name no views."""
    v, u = np.meshgrid(np.linspace(0.02, np.pi - 0.02, 60), np.linspace(0, 2 * np.pi, 80, endpoint=False), indexing="ij")
    points = 0.04 * np.stack([wide * np.sin(v) * np.cos(u), wide * np.sin(v) * np.sin(u), 1 + np.cos(v)], axis=-1)
    a = np.arange(59 * 80)
    b = a - a % 80 + (a + 1) % 80
    faces = np.concatenate([np.stack([a, a + 80, b], axis=1), np.stack([b, a + 80, b + 80], axis=1)])
    step = from_module(camera)
    sheet = blank([step])
    sheet.settings["camera"] = build(
        camera.Settings, {"turntable": False, "views": "own", "shots": [{"name": "hero"}], **settings}, "camera"
    )
    stage = Stage(bpy.context.scene, sheet)
    piece = make_object("Piece", TriangleMesh(points.reshape(-1, 3).astype(np.float32), faces.astype(np.int32)))
    bpy.context.scene.collection.objects.link(piece)
    roles.mark(piece, job=stage.job, step="separation", role="piece", key="")
    again(stage)
    return stage


def again(stage: Stage) -> None:
    finish(run_job([from_module(camera)], [from_module(camera)], stage.sheet, stage))


def hero_of(stage: Stage):
    hero = stage.find("shot", "hero")
    hero.update_tag()
    bpy.context.view_layer.update()
    return hero


def filled(item, points_mm) -> float:
    """The share of the picture's height that points fill through Blender's own camera matrix."""
    width, height = item["bozzetto_resolution"]
    window = np.array(item.calc_matrix_camera(bpy.context.evaluated_depsgraph_get(), x=width, y=height))
    seen = np.c_[points_mm / 1000, np.ones(len(points_mm))] @ (window @ np.linalg.inv(np.array(item.matrix_world))).T
    return float(np.ptp(seen[:, 1] / seen[:, 3])) / 2


def test_from_here_to_there_holds_both_and_no_more_than_needed():
    hero = hero_of(scene_of())
    pose = lens_questions.pose_of(hero)
    ends = [pose.position - pose.rotation[:, 2] * (pose.focus_mm + step) for step in (-4.0, 9.0)]
    asked = lens_questions.hold_points(hero, ends)
    assert asked.answer.possible
    lens_questions.set_lens(hero, asked)
    bpy.context.view_layer.update()
    slack = 1 + 0.016 * 5  # a marked stop may stand for 1.5 % more blur
    assert hero["bozzetto_near_mm"] <= pose.focus_mm - 4.0 / slack and hero["bozzetto_far_mm"] >= pose.focus_mm + 9.0 / slack
    assert hero["bozzetto_far_mm"] - hero["bozzetto_near_mm"] < 1.3 * 13.0  # a third of a stop is 26 %
    assert hero.data.dof.focus_distance == pytest.approx(hero["bozzetto_focus_mm"] / 1000)


@pytest.mark.parametrize("part", ["face", "whole"])
def test_a_part_that_is_seen_is_held(part):
    hero = hero_of(scene_of())
    asked = lens_questions.hold_part(hero, part)
    pose = lens_questions.pose_of(hero)
    points = vertices_mm(bpy.data.objects["Piece"])
    depth = (points - pose.position) @ -pose.rotation[:, 2]
    assert depth.min() - 1.0 <= asked.ends[0] < asked.ends[1] < np.median(depth) + 30.0
    if part == "face":
        whole = lens_questions.hold_part(hero, "whole")
        assert asked.ends[1] - asked.ends[0] < whole.ends[1] - whole.ends[0]


def test_what_no_lens_holds_becomes_a_bracket_that_does_and_runs_keep_it():
    stage = scene_of()
    hero = hero_of(stage)
    hero["bozzetto_focus_mm"] = 200.0  # 1:1.2, where depth is scarce
    hero = hero_of(stage)
    pose = lens_questions.pose_of(hero)
    asked = lens_questions.hold_points(hero, [pose.position - pose.rotation[:, 2] * far for far in (185.0, 230.0)])
    assert not asked.answer.possible and "focus bracket of" in asked.answer.words
    count = lens_questions.set_bracket(hero, asked)
    assert count == asked.answer.slices == len(hero["bozzetto_bracket_mm"])
    assert f"bracket of {count}" in hero["bozzetto_caption"]
    lens = optics_of(hero_of(stage))
    assert gap(bracket(lens, 185.0, 230.0, hero["bozzetto_coc_mm"]), 185.0, 230.0) == 0.0
    assert list(hero["bozzetto_bracket_mm"]) == pytest.approx(bracket(lens, 185.0, 230.0, hero["bozzetto_coc_mm"]).focus_mm)
    again(stage)
    assert len(hero_of(stage)["bozzetto_bracket_mm"]) == count
    assert any("Kept" in str(note) for note in stage.notes)
    lens_questions.set_departure(hero)
    assert "bozzetto_bracket_mm" not in hero and hero["bozzetto_depth"] == "departure"
    assert "sharper than a lens can" in hero["bozzetto_caption"]


def test_the_distance_that_fills_80_percent_of_the_height():
    stage = scene_of()
    hero = hero_of(stage)
    points = vertices_mm(bpy.data.objects["Piece"]).astype(float)
    assert filled(hero, points) == pytest.approx(0.70, abs=0.002)
    asked = lens_questions.fill_height(hero, 0.8)
    assert asked.answer.possible and "nearer" in asked.answer.words
    lens_questions.set_lens(hero, asked)
    assert filled(hero_of(stage), points) == pytest.approx(0.80, abs=0.002)  # single precision of Blender's matrices


def test_too_wide_says_so():
    stage = scene_of(wide=2.5)
    asked = lens_questions.fill_height(hero_of(stage), 0.8)
    assert not asked.answer.possible and "as wide as the picture" in asked.answer.words


def test_another_focal_length_keeps_the_size():
    stage = scene_of()
    hero = hero_of(stage)
    before = hero["bozzetto_magnification"]
    lens_questions.set_lens(hero, lens_questions.other_focal(hero, 180.0))
    hero = hero_of(stage)
    assert hero["bozzetto_focal_mm"] == 180.0
    assert hero["bozzetto_magnification"] == pytest.approx(before, rel=1e-5)
    depth = hero["bozzetto_far_mm"] - hero["bozzetto_near_mm"]
    assert depth == pytest.approx(optics.depth_of_field(optics_of(hero), hero["bozzetto_coc_mm"]), rel=1e-4)


def test_a_hung_camera_is_moved_in_the_world():
    stage = scene_of()
    hero = hero_of(stage)
    parent = bpy.data.objects.new("arm", None)
    bpy.context.scene.collection.objects.link(parent)
    parent.location, parent.rotation_euler = (0.1, 0.2, 0.3), (0.4, 0.5, 0.6)
    bpy.context.view_layer.update()
    world = hero.matrix_world.copy()
    hero.parent = parent
    hero.matrix_world = world
    hero = hero_of(stage)
    asked = lens_questions.fill_height(hero, 0.8)
    lens_questions.set_lens(hero, asked)
    hero = hero_of(stage)
    assert np.array(hero.matrix_world.translation) * 1000 == pytest.approx(asked.pose.position, abs=1e-2)


def test_impossible_questions_are_answered_in_words():
    stage = scene_of(wide=2.5)
    hero = hero_of(stage)
    with pytest.raises(SubjectError, match="wider than tall"):
        lens_questions.hold_part(hero, "face")
    pose = lens_questions.pose_of(hero)
    for far, words in ((0.0, "behind Shot hero"), (40.0, "step back")):
        with pytest.raises(SubjectError, match=words):
            lens_questions.hold_points(hero, [pose.position - pose.rotation[:, 2] * (far + step) for step in (0.0, 1.0)])
    roles.unmark(bpy.data.objects["Piece"])
    with pytest.raises(SubjectError, match="no piece"):
        lens_questions.fill_height(hero, 0.8)


def test_each_shot_has_a_small_picture_of_what_it_frames():
    stage = scene_of(views="full", turntable=True, shots=[])
    shots = stage.find_all("shot")
    assert len(shots) == 9
    for name, shot in shots.items():
        assert shot.preview is not None and tuple(shot.preview.image_size) == (144, 96), name
        values = np.array(shot.preview.image_pixels_float).reshape(96, 144, 4)[..., 0]
        assert values.std() > 0.02, f"{name} shows nothing"
    hero = np.array(shots["hero"].preview.image_pixels_float).reshape(96, 144, 4)[..., 0]
    rows = np.flatnonzero((np.abs(hero - hero[0, 0]) > 0.05).any(axis=1))
    assert np.ptp(rows) + 1 == pytest.approx(0.70 * 96, abs=2.5)  # the share of the height that was asked, in whole pixels
