"""Blender's start scene and own lamps: what is hidden once, what stays, what is reported."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import pytest

from blender_addon.job.sheet import blank
from blender_addon.scene.running.start_scene import hide_start_scene, warn_of_own_lamps
from blender_addon.scene.stage import Stage
from blender_addon.steps import catalogue

STEPS = catalogue()


@pytest.fixture
def stage(tmp_path: Path) -> Any:
    """A new job in Blender's own start scene, in its first step."""
    bpy.ops.wm.read_factory_settings()
    stage = Stage(bpy.context.scene, blank(STEPS, name="job", folder=tmp_path))
    stage.begin(STEPS[0], afresh=False)
    yield stage
    bpy.ops.wm.read_factory_settings(use_empty=True)


def _swapped(stage: Any) -> None:
    hide_start_scene(stage)
    stage.swap()


def test_cube_and_lamp_are_hidden_and_nothing_is_deleted(stage: Any) -> None:
    _swapped(stage)
    cube, lamp = bpy.data.objects["Cube"], bpy.data.objects["Light"]
    assert (cube.hide_render, cube.hide_viewport, lamp.hide_render) == (True, True, True)
    assert not bpy.data.objects["Camera"].hide_render
    assert any("not deleted" in note.words and '"Cube"' in note.words for note in stage.notes)


def test_what_the_user_shows_again_stays_shown(stage: Any) -> None:
    _swapped(stage)
    bpy.data.objects["Cube"].hide_render = False
    stage.begin(STEPS[0], afresh=False)
    _swapped(stage)
    assert not bpy.data.objects["Cube"].hide_render


@pytest.mark.parametrize("change", ["moved", "renamed", "shaped", "modified"])
def test_a_cube_that_somebody_worked_on_stays(stage: Any, change: str) -> None:
    cube = bpy.data.objects["Cube"]
    if change == "moved":
        cube.location.x = 0.5
        bpy.context.view_layer.update()
    elif change == "renamed":
        cube.name = "Plinth"
    elif change == "shaped":
        cube.data.vertices[0].co.x = 0.4
    else:
        cube.modifiers.new("Bevel", "BEVEL")
    _swapped(stage)
    assert not cube.hide_render


def test_an_error_in_the_swap_shows_them_again(stage: Any) -> None:
    def fail() -> None:
        raise RuntimeError("no")

    hide_start_scene(stage)
    stage.at_swap(fail)
    with pytest.raises(RuntimeError):
        stage.swap()
    stage.discard()
    assert not bpy.data.objects["Cube"].hide_render
    assert not bpy.data.objects["Light"].hide_render


def test_a_lamp_of_ones_own_is_reported_while_it_is_in_the_pictures(stage: Any) -> None:
    warn_of_own_lamps(stage)
    assert ['"Light"' in note.words for note in stage.notes.warnings()] == [True]
    bpy.data.objects["Light"].hide_render = True
    warn_of_own_lamps(stage)
    assert len(stage.notes.warnings()) == 1
