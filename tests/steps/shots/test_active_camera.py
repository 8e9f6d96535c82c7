"""Has the scene an active camera of its own, and the shape of its picture, whatever shots there were before?"""

from __future__ import annotations

from typing import Any

import bpy
import pytest

from blender_addon.job.settings import build
from blender_addon.job.step import Step
from blender_addon.scene import roles
from blender_addon.scene.stage import Stage
from blender_addon.steps.shots import camera
from tests.steps.shots.test_camera import HERO, job, run

pytestmark = pytest.mark.usefixtures("empty_scene")


def again(step: Step, stage: Stage, **settings: Any) -> str:
    """Run with other settings; the name of the active camera."""
    stage.sheet.settings["camera"] = build(camera.Settings, settings, "camera")
    run(step, stage)
    return str(bpy.context.scene.camera.name)


def test_a_camera_stays_active_when_shots_go():
    """Without one F12 renders nothing."""
    step, stage = job(**HERO)
    scene, both = bpy.context.scene, HERO | {"turntable": True}
    assert again(step, stage, **both) == "Shot hero"
    assert again(step, stage, views="own") == "Shot turntable"
    assert again(step, stage, **both) == "Shot hero"
    scene.camera = stage.find("shot", "turntable")  # as "View this shot" does
    assert again(step, stage, **both) == "Shot turntable"
    scene.camera = mine = bpy.data.objects.new("mine", bpy.data.cameras.new("mine"))
    roles.mark(mine, job="of the scene that this one is a copy of", step="camera", role="shot", key="hero")
    assert again(step, stage, **both) == "Shot hero"
    roles.unmark(mine)
    scene.camera = mine
    assert again(step, stage, views="own") == "mine"


def test_another_shot_is_active_where_the_first_was_deleted():
    step, stage = job(**HERO | {"turntable": True})
    run(step, stage)
    bpy.data.objects.remove(stage.find("shot", "hero"))
    assert again(step, stage, **HERO | {"turntable": True}) == "Shot turntable"


def test_the_scenes_picture_has_the_shape_that_its_camera_gets_later():
    step, stage = job(**HERO)
    render = bpy.context.scene.render
    for aspect, size in ((1.5, (960, 640)), (1.0, (960, 960)), (1.5, (960, 640))):
        again(step, stage, **HERO, aspect=aspect)
        assert (render.resolution_x, render.resolution_y) == size
    render.resolution_x = 1500
    again(step, stage, **HERO, aspect=1.0)
    assert (render.resolution_x, render.resolution_y) == (1500, 640)  # set by hand
