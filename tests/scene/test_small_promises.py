"""Small things that rooms of the scene promise each other, each told by its outcome in Blender's data."""

from __future__ import annotations

from pathlib import Path

import bpy
import pytest

from blender_addon.job.errors import OutputError
from blender_addon.job.sheet import blank
from blender_addon.scene import roles
from blender_addon.scene.delivery.kept_pictures import scene_digests
from blender_addon.scene.delivery.output import Quality, cycles
from blender_addon.scene.prints import fingerprint, fingerprint_0_1
from blender_addon.scene.running.blend_file import BlendFile
from blender_addon.scene.running.exchange import Exchange
from blender_addon.scene.stage import Stage
from blender_addon.scene.surface.rendered_form import form_of, give_form
from blender_addon.steps import catalogue
from blender_addon.steps.surface.material import _theirs
from blender_addon.ui import folders

pytestmark = pytest.mark.usefixtures("empty_scene")


def thing(name: str = "thing") -> bpy.types.Object:
    mesh = bpy.data.meshes.new(name)
    mesh.from_pydata([(0, 0, 0), (1, 0, 0), (0, 1, 0)], [], [(0, 1, 2)])
    item = bpy.data.objects.new(name, mesh)
    bpy.context.scene.collection.objects.link(item)
    return item


def test_what_takes_the_place_of_a_hidden_object_is_hidden_too() -> None:
    """Hidden by the eye, which is kept in the view layer and not in the object."""
    old = thing("old")
    old.hide_set(True)
    new = bpy.data.objects.new("new", old.data.copy())
    exchange = Exchange(bpy.context.scene)
    exchange.take_place(old, new)
    assert new.hide_get()
    exchange.take_back()
    assert old.hide_get() and old.name in bpy.context.scene.collection.objects


def test_a_swap_that_is_taken_back_gives_back_what_was_deleted() -> None:
    item = thing()
    item["bozzetto_note"] = "kept"
    exchange = Exchange(bpy.context.scene)
    exchange.drop(item, ["bozzetto_note", "bozzetto_nothing"])
    assert "bozzetto_note" not in item
    exchange.take_back()
    assert item["bozzetto_note"] == "kept"


def test_a_step_s_stamp_is_kept_in_the_scene() -> None:
    sheet = blank(catalogue())
    Stage(bpy.context.scene, sheet).set_stamp("intake", "abc")
    assert Stage(bpy.context.scene, sheet).stamp("intake") == "abc"


def test_the_form_begins_without_any_displacement() -> None:
    """A height map is there at once, its strength comes with the quality of the render."""
    item, image = thing(), bpy.data.images.new("height", 4, 4, float_buffer=True)
    kept = item.data.uv_layers.new(name="UVMap").name
    image.pixels.foreach_set([1.0] * 64)
    give_form(item, image, kept)
    form = form_of(item)
    form.show_viewport = True
    evaluated = item.evaluated_get(bpy.context.evaluated_depsgraph_get())
    assert [tuple(round(x, 6) for x in vertex.co) for vertex in evaluated.data.vertices] == [(0, 0, 0), (1, 0, 0), (0, 1, 0)]


@pytest.mark.parametrize("asked", [False, True])
def test_a_picture_is_denoised_only_where_that_is_asked_for(asked: bool) -> None:
    scene = bpy.context.scene
    with cycles(scene, Quality(4, 0.1, denoise=asked), device="cpu", seed=1):
        assert scene.cycles.use_denoising == asked
        assert scene.cycles.use_adaptive_sampling and scene.cycles.adaptive_threshold == pytest.approx(0.1)


def test_the_print_of_0_1_0_holds_a_material_s_own_settings() -> None:
    material = bpy.data.materials.new("clay")
    before = fingerprint_0_1.fingerprint(material)
    material.diffuse_color = (1.0, 0.0, 0.0, 1.0)
    assert fingerprint_0_1.fingerprint(material) != before


def test_pictures_show_the_exposure_and_a_reference_photo_s_picture_does_not() -> None:
    """A reference's picture is rendered under the photo's own view, whatever the scene's is."""
    scene, shots = bpy.context.scene, {}
    for role in ("shot", "reference"):
        camera = bpy.data.objects.new(role, bpy.data.cameras.new(role))
        scene.collection.objects.link(camera)
        camera[roles.ROLE], camera[roles.KEY], camera[roles.JOB] = role, "a", "job"
        shots[role] = camera
    before = {role: scene_digests(scene, "job").of(camera) for role, camera in shots.items()}
    scene.view_settings.exposure += 0.5
    after = {role: scene_digests(scene, "job").of(camera) for role, camera in shots.items()}
    assert after["shot"] != before["shot"] and after["reference"] == before["reference"]


def test_a_blend_of_something_else_is_refused_by_what_it_is(tmp_path: Path) -> None:
    path = tmp_path / "other.blend"
    thing("a vase of the user's")
    bpy.ops.wm.save_as_mainfile(filepath=str(path), copy=True)
    with pytest.raises(OutputError, match=r"other\.blend.* is not a job of Bozzetto"):
        BlendFile(path).open(blank(catalogue()))


def test_a_sheet_that_is_used_again_comes_first_and_stands_once(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(folders, "own_folder", lambda: tmp_path / "own")
    sheets = [tmp_path / f"{name}.toml" for name in "abc"]
    for sheet in (*sheets, sheets[0]):
        sheet.write_text("bozzetto = 1\n")
        folders.remember(sheet)
    assert [path.stem for path in folders.recent()] == ["a", "c", "b"]


def test_what_a_lamp_is_to_light_and_a_picture_behind_a_camera_are_edits() -> None:
    lamp = bpy.data.objects.new("lamp", bpy.data.lights.new("lamp", "AREA"))
    camera = bpy.data.objects.new("camera", bpy.data.cameras.new("camera"))
    before = fingerprint.fingerprint(lamp), fingerprint.fingerprint(camera)
    lamp.light_linking.receiver_collection = bpy.data.collections.new("lit")
    camera.data.background_images.new().alpha = 0.25
    first = fingerprint.fingerprint(lamp), fingerprint.fingerprint(camera)
    assert first[0] != before[0] and first[1] != before[1]
    lamp.light_linking.blocker_collection = bpy.data.collections.new("throws shadows")
    camera.data.background_images[0].alpha = 0.75
    assert fingerprint.fingerprint(lamp) != first[0] and fingerprint.fingerprint(camera) != first[1]


def test_a_material_that_the_user_put_on_the_mesh_is_theirs_and_the_scan_s_is_not() -> None:
    item = thing()
    scan, own, clay = (bpy.data.materials.new(name) for name in ("scan", "mine", "clay"))
    scan[roles.MADE], clay[roles.ROLE], clay[roles.KEY] = "x", "surface", "piece"
    for material in (scan, own, None, clay):
        item.data.materials.append(material)
    assert [_theirs(slot, "piece") for slot in item.material_slots] == [False, True, False, False]
    assert _theirs(item.material_slots[3], "stand")
    item.material_slots[0].link = "OBJECT"
    item.material_slots[0].material = scan  # put on by hand, where ours would be
    assert _theirs(item.material_slots[0], "piece")
