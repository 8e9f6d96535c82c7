"""In a series of renders each mesh has a second object, and a subdivided one a stand-in, for Cycles' sake: gone afterwards."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.scene.delivery.kept_meshes import KeptMeshes
from blender_addon.scene.delivery.originals import read_picture
from blender_addon.scene.delivery.output import Quality, cycles, render_picture
from blender_addon.scene.surface.rendered_form import give_form, set_form


@pytest.fixture
def scene() -> Any:
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.ops.mesh.primitive_plane_add(size=8.0)
    bpy.ops.mesh.primitive_ico_sphere_add(subdivisions=2, location=(0.0, 0.0, 1.0))
    bpy.context.object.name = "Piece"
    give_form(bpy.context.object)
    set_form(bpy.context.object, 2, 0.0)
    clay = bpy.data.materials.new("Clay")
    clay.node_tree.nodes["Principled BSDF"].inputs["Base Color"].default_value = (0.6, 0.1, 0.05, 1.0)
    bpy.context.object.data.materials.append(None)
    bpy.context.object.material_slots[0].link, bpy.context.object.material_slots[0].material = "OBJECT", clay
    bpy.ops.mesh.primitive_cube_add(location=(3.0, 0.0, 1.0))
    bpy.context.object.name = "Bevelled"
    bpy.context.object.modifiers.new("Bevel", "BEVEL")
    bpy.ops.mesh.primitive_cube_add(location=(-3.0, 0.0, 1.0))
    bpy.context.object.name, bpy.context.object.hide_render = "Hidden", True
    bpy.ops.object.light_add(type="SUN", rotation=(0.6, 0.2, 0.0))
    bpy.ops.object.camera_add(location=(0.0, -12.0, 6.0), rotation=(1.15, 0.0, 0.0))
    return bpy.context.scene


def test_what_is_added_is_there_during_a_render_alone(scene):
    before = {item.name for item in scene.objects}
    piece, meshes = scene.objects["Piece"], KeptMeshes(scene)
    with pytest.raises(KeyError), meshes.in_place():
        assert piece.hide_render
        added = {item.name: item for item in scene.objects if item.name not in before}
        assert sorted(added) == ["Piece again", "Piece for the render", "Plane again"]
        standing = added["Piece for the render"]
        assert standing.matrix_world == piece.matrix_world and not standing.modifiers
        assert len(standing.data.polygons) == 12 * len(piece.data.polygons)  # three quads a triangle, four of each
        assert [(slot.link, slot.material.name) for slot in standing.material_slots] == [("DATA", "Clay")]
        for name, data in (("Piece again", standing.data), ("Plane again", scene.objects["Plane"].data)):
            twin = added[name]
            assert twin.data == data and max(twin.scale) < 0.01
            assert not (twin.visible_camera or twin.visible_shadow or twin.visible_glossy or twin.visible_diffuse)
        raise KeyError("a render that fails")
    assert {item.name for item in scene.objects} == before and not piece.hide_render
    data = len(bpy.data.objects), len(bpy.data.meshes)
    with meshes.in_place():
        assert (len(bpy.data.objects), len(bpy.data.meshes)) == data  # the same again, so that Cycles knows them
    meshes.close()
    assert {item.name for item in bpy.data.objects} == before and len(bpy.data.meshes) == 4


def test_what_undo_took_away_is_made_again(scene):
    meshes = KeptMeshes(scene)
    with meshes.in_place():
        pass
    bpy.data.objects.remove(bpy.data.objects["Piece for the render"])
    with meshes.in_place():
        assert "Piece for the render" in scene.objects
    meshes.close()


def test_a_saved_file_holds_nothing_of_it(scene, tmp_path: Path):
    before = {item.name for item in scene.objects}
    meshes = KeptMeshes(scene)
    with meshes.in_place():
        pass
    bpy.ops.wm.save_as_mainfile(filepath=str(tmp_path / "between.blend"), copy=True)
    meshes.close()
    bpy.ops.wm.open_mainfile(filepath=str(tmp_path / "between.blend"))
    assert {item.name for item in bpy.data.objects} == before
    assert not bpy.data.objects["Piece"].hide_render


def test_a_material_that_reads_its_object_keeps_it(scene):
    """The random number of Blender's object info follows from the object's name."""
    material = bpy.data.materials.new("Speckled")
    material.node_tree.nodes.new("ShaderNodeObjectInfo")
    scene.objects["Piece"].material_slots[0].material = material
    meshes = KeptMeshes(scene)
    with meshes.in_place():
        assert "Piece for the render" not in scene.objects and not scene.objects["Piece"].hide_render
    meshes.close()


@pytest.mark.parametrize("hidden", ["viewport", "collection"])
def test_what_the_viewport_does_not_show_stays_itself(scene, hidden: str) -> None:
    """It is still rendered, but Blender does not evaluate it outside a render."""
    if hidden == "viewport":
        scene.objects["Piece"].hide_viewport = True
    else:
        collection = bpy.data.collections.new("Away")
        scene.collection.children.link(collection)
        collection.objects.link(scene.objects["Piece"])
        scene.collection.objects.unlink(scene.objects["Piece"])
        scene.view_layers[0].layer_collection.children["Away"].exclude = True
    meshes = KeptMeshes(scene)
    with meshes.in_place():
        assert "Piece for the render" not in bpy.data.objects and not scene.objects["Piece"].hide_render
    meshes.close()


def test_the_picture_stays_what_it_was(scene, tmp_path: Path):
    """But for rounding where a ray meets an edge: Cycles' own place of a mesh is not that of a mesh in the common tree."""
    meshes = KeptMeshes(scene)
    scene.objects["Piece"].rotation_euler[2] = 0.3
    with cycles(scene, Quality(4, 0.0, denoise=False), device="cpu", seed=1):
        render_picture(scene, tmp_path / "before.png", camera=scene.objects["Camera"], size=(48, 32))
        with meshes.in_place():
            render_picture(scene, tmp_path / "within.png", camera=scene.objects["Camera"], size=(48, 32))
    meshes.close()
    before, within = (read_picture(tmp_path / name).astype(float) / 257.0 for name in ("before.png", "within.png"))
    assert before.std() > 5.0 and np.abs(before - within).mean() < 0.2
