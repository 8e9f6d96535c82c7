"""Someone is in the middle of editing: what they did counts, and they are back where they were when the job has run."""

from __future__ import annotations

from typing import Any

import bpy
import pytest

from blender_addon.scene.meshes import make_object
from blender_addon.scene.running.editing_mode import object_mode
from tests.scene.tetra import TETRA


@pytest.fixture
def items(empty_scene: Any) -> list[Any]:
    """Two objects of the scene, the second active."""
    found = [make_object(name, TETRA) for name in ("first", "second")]
    for item in found:
        empty_scene.collection.objects.link(item)
        item.select_set(True)
    bpy.context.view_layer.objects.active = found[1]
    return found


@pytest.mark.parametrize("mode", ["EDIT", "SCULPT", "VERTEX_PAINT", "WEIGHT_PAINT", "TEXTURE_PAINT"])
def test_a_mode_is_left_and_comes_back(mode: str, items: list[Any]) -> None:
    bpy.ops.object.mode_set(mode=mode)
    with object_mode(bpy.context.scene):
        assert items[1].mode == "OBJECT"
    assert items[1].mode == mode and bpy.context.view_layer.objects.active == items[1]


def test_several_objects_in_edit_mode_come_back(items: list[Any]) -> None:
    bpy.ops.object.mode_set(mode="EDIT")
    assert [item.mode for item in items] == ["EDIT", "EDIT"]
    with object_mode(bpy.context.scene):
        assert [item.mode for item in items] == ["OBJECT", "OBJECT"]
    assert items[1].mode == "EDIT" and bpy.context.view_layer.objects.active == items[1]


def test_what_was_done_in_edit_mode_counts(items: list[Any]) -> None:
    bpy.ops.object.mode_set(mode="EDIT")
    import bmesh  # exists only once bpy is there

    mesh = bmesh.from_edit_mesh(items[1].data)
    mesh.verts.ensure_lookup_table()
    mesh.verts[0].co.x = -3.0
    with object_mode(bpy.context.scene):
        assert items[1].data.vertices[0].co.x == -3.0


def test_an_object_that_is_gone_afterwards_is_no_harm(items: list[Any]) -> None:
    bpy.ops.object.mode_set(mode="EDIT")
    with object_mode(bpy.context.scene):
        bpy.data.objects.remove(items[1])
    assert bpy.context.mode in ("OBJECT", "EDIT_MESH")


def test_a_mode_comes_back_also_after_an_error(items: list[Any]) -> None:
    bpy.ops.object.mode_set(mode="SCULPT")
    with pytest.raises(ValueError), object_mode(bpy.context.scene):
        raise ValueError
    assert items[1].mode == "SCULPT"
