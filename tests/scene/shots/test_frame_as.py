"""The scene's picture takes a shot's shape when the view looks through it, and keeps the job's size where it has it."""

from __future__ import annotations

import bpy
import pytest

from blender_addon.scene.shots import lens_drivers


@pytest.mark.parametrize(
    ("before", "after"),
    [((96, 64), (96, 64)), ((97, 65), (97, 65)), ((960, 960), (3000, 2000)), ((96, 70), (3000, 2000))],
)
def test_a_size_of_the_shots_shape_stays(before: tuple[int, int], after: tuple[int, int]) -> None:
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    camera = bpy.data.objects.new("Shot hero", bpy.data.cameras.new("Shot hero"))
    camera[lens_drivers.RESOLUTION] = (3000, 2000)
    scene.render.resolution_x, scene.render.resolution_y = before
    lens_drivers.frame_as(scene, camera)
    assert (scene.render.resolution_x, scene.render.resolution_y) == after
