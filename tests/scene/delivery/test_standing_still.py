"""In a turn, what stands still has a second object for Cycles' sake: seen by nothing, and gone afterwards."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.scene.delivery.originals import read_picture
from blender_addon.scene.delivery.output import Quality, cycles, render_picture
from blender_addon.scene.delivery.standing_still import standing_still


@pytest.fixture
def scene() -> Any:
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.ops.mesh.primitive_plane_add(size=8.0)
    bpy.ops.mesh.primitive_cube_add(location=(0.0, 0.0, 1.0))
    bpy.context.object.name = "Moving"
    bpy.ops.mesh.primitive_cube_add(location=(3.0, 0.0, 1.0))
    bpy.context.object.name = "Divided"
    bpy.context.object.modifiers.new("Bevel", "BEVEL")
    bpy.ops.mesh.primitive_cube_add(location=(-3.0, 0.0, 1.0))
    bpy.context.object.name, bpy.context.object.hide_render = "Hidden", True
    bpy.ops.object.light_add(type="SUN", rotation=(0.6, 0.2, 0.0))
    bpy.ops.object.camera_add(location=(0.0, -12.0, 6.0), rotation=(1.15, 0.0, 0.0))
    return bpy.context.scene


def test_only_what_stands_still_and_is_shown_has_a_second_object(scene):
    before = {item.name for item in scene.objects}
    with pytest.raises(KeyError), standing_still(scene, [bpy.data.objects["Moving"]]):
        (twin,) = [item for item in scene.objects if item.name not in before]
        assert twin.data == bpy.data.objects["Plane"].data and max(twin.scale) < 0.01
        assert not (twin.visible_camera or twin.visible_shadow or twin.visible_glossy or twin.visible_diffuse)
        raise KeyError("a render that fails")
    assert {item.name for item in scene.objects} == before


def test_the_picture_stays_what_it_was(scene, tmp_path: Path):
    """But for rounding where a ray meets an edge: Cycles' own place of a mesh is not that of a mesh in the common tree."""
    with cycles(scene, Quality(4, 0.0, denoise=False), device="cpu", seed=1):
        render_picture(scene, tmp_path / "before.png", camera=scene.objects["Camera"], size=(48, 32))
        with standing_still(scene, [bpy.data.objects["Moving"]]):
            render_picture(scene, tmp_path / "within.png", camera=scene.objects["Camera"], size=(48, 32))
    before, within = (read_picture(tmp_path / name).astype(float) / 257.0 for name in ("before.png", "within.png"))
    assert before.std() > 5.0 and np.abs(before - within).mean() < 0.2
