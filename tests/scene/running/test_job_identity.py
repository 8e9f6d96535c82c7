"""Two jobs in one file, a copied, renamed, appended scene, linked objects: none overwrites or removes another's objects."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy
import pytest

from blender_addon.job.settings import number
from blender_addon.job.sheet import JobSheet, blank
from blender_addon.job.step import Step
from blender_addon.scene import roles
from blender_addon.scene.meshes import make_object
from blender_addon.scene.running.job_card import read_state
from blender_addon.scene.stage import Stage
from tests.scene.tetra import TETRA
from tests.scene.whole_file import differences, whole_file


@dataclass(kw_only=True)
class Own:
    much: float = number(1.0, low=0.0, high=10.0, help="much")


STEP = Step("tabletop", "dressing", "Tabletop", "", Own, (), (), ("prop",), lambda stage, own: iter(()))


def sheet(name: str = "owl") -> JobSheet:
    return blank((STEP,), name=name)


def run(scene: Any, *keys: str, shift: float = 0.0, name: str = "owl") -> Stage:
    """A step that makes things, a material that one of them wears, and a world."""
    stage = Stage(scene, sheet(name))
    stage.begin(STEP, afresh=False)
    for key in keys or ("jar", "brush"):
        item = make_object(key, TETRA)
        item.location.x = shift
        stage.offer("prop", item, key=key, name=key.capitalize())
    material = bpy.data.materials.new("Clay")
    material.diffuse_color[0] = 0.5 + shift / 10
    stage.offer("surface", material, key="piece", name="Piece clay")
    stage.at_swap(lambda: _wear(stage))
    stage.swap()
    return stage


def _wear(stage: Stage) -> None:
    for item in stage.find_all("prop").values():
        if not item.material_slots:
            item.data.materials.append(None)
        item.material_slots[0].link = "OBJECT"
        item.material_slots[0].material = stage.find("surface", "piece")


@pytest.fixture
def scene() -> Any:
    """A scene in which the job ran once."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    run(bpy.context.scene)
    return bpy.context.scene


def state_of(scene: Any) -> dict[str, Any]:
    """All that a job's scene shows: its objects with their content, marks and places."""
    every = whole_file()
    names = {f"Object {item.name}" for item in scene.objects}
    names |= {f"Material {slot.material.name}" for item in scene.objects for slot in item.material_slots if slot.material}
    names |= {f"Mesh {item.data.name}" for item in scene.objects if item.data}
    found = {name: every[name] for name in names} | {"scene": every[f"scene {scene.name}"]}
    for entry in found.values():
        entry.pop("users", None)  # another scene may use a material too, or no longer
    return found


def names(scene: Any) -> list[str]:
    return sorted(item.name for item in scene.objects)


def copied(how: str) -> Any:
    """A copy of the scene that is shown, as Blender's menu makes it."""
    bpy.ops.scene.new(type=how)
    return bpy.context.scene


def test_an_id_repeats_and_is_no_name_of_a_scene(scene: Any) -> None:
    first = scene[roles.JOB]
    bpy.ops.wm.read_factory_settings(use_empty=True)
    bpy.context.scene.name = "Another name"
    assert run(bpy.context.scene).job == first
    assert run(bpy.data.scenes.new("Second")).job != first


def test_a_renamed_scene_stays_the_same_job(scene: Any) -> None:
    job = scene[roles.JOB]
    bpy.data.objects["Jar"].location.z = 0.5
    scene.name = "The owl"
    other = bpy.data.scenes.new("Scene")  # and another takes its name
    stage = run(scene, shift=1.0)
    assert stage.job == job and names(scene) == ["Brush", "Jar"]
    assert bpy.data.objects["Jar"].location.z == pytest.approx(0.5) and bpy.data.objects["Brush"].location.x == 1.0
    kept = state_of(scene)
    second = run(other, shift=2.0)
    assert second.job != job and not differences(kept, state_of(scene))


def test_a_full_copy_is_a_job_of_its_own_with_the_edits_that_it_has(scene: Any) -> None:
    bpy.data.objects["Jar"].location.z = 0.5
    first = scene[roles.JOB]
    copy = copied("FULL_COPY")
    before = state_of(scene)
    assert names(copy) == ["Brush.001", "Jar.001"]
    stage = run(copy, shift=1.0)
    assert stage.job != first
    assert not differences(before, state_of(scene))
    assert names(copy) == ["Brush.001", "Jar.001"]  # nothing twice
    assert stage.require("prop", "jar").location.z == pytest.approx(0.5) and stage.require("prop", "brush").location.x == 1.0
    again = state_of(copy)
    original = run(scene, shift=3.0)  # and the first goes on, and leaves the second alone
    assert original.job == first and original.require("prop", "brush").location.x == 3.0
    assert not differences(again, state_of(copy))


def test_in_a_full_copy_the_materials_of_the_first_are_found_until_it_makes_its_own(scene: Any) -> None:
    copy = copied("FULL_COPY")
    stage = Stage(copy, sheet())
    stage.settle()
    assert stage.find("surface", "piece") == bpy.data.materials["Piece clay"]
    stage = run(copy, shift=1.0)
    assert stage.find("surface", "piece").name == "Piece clay.001"
    assert bpy.data.objects["Jar"].active_material.name == "Piece clay"
    assert bpy.data.objects["Jar.001"].active_material.name == "Piece clay.001"


def test_what_was_deleted_in_the_copy_alone_is_deleted_there_alone(scene: Any) -> None:
    copied("FULL_COPY")
    bpy.data.objects.remove(bpy.data.objects["Jar.001"])
    run(scene)
    assert names(scene) == ["Brush", "Jar"]


@pytest.mark.parametrize("how", ["LINK_COPY", "copy"])
def test_a_linked_copy_makes_its_own_and_leaves_what_it_shares_alone(how: str, scene: Any) -> None:
    first = scene[roles.JOB]
    copy = scene.copy() if how == "copy" else copied(how)
    before = state_of(scene)
    stage = run(copy, shift=1.0)
    assert stage.job != first
    assert not differences(before, state_of(scene))
    assert sorted(stage.find_all("prop")) == ["brush", "jar"] and stage.require("prop", "jar").location.x == 1.0
    seen = {item.name for layer in copy.view_layers for item in layer.objects}
    assert seen == {"Brush.001", "Jar.001"}  # the shared ones are left out of its view
    assert run(scene, shift=2.0).job == first and bpy.data.objects["Jar"].location.x == 2.0


def test_the_copy_is_the_job_where_the_first_was_deleted(scene: Any) -> None:
    copy = copied("FULL_COPY")
    for item in list(scene.objects):
        bpy.data.objects.remove(item)
    bpy.data.scenes.remove(scene)
    stage = run(copy, shift=1.0)
    assert len(names(copy)) == 2 and stage.require("prop", "jar").location.x == 1.0


def test_a_second_job_in_the_file_is_another_job(scene: Any) -> None:
    first = scene[roles.JOB]
    before = state_of(scene)
    other = bpy.data.scenes.new("Fox")
    stage = run(other, "jar", "rule", name="fox")
    assert stage.job != first and sorted(stage.find_all("prop")) == ["jar", "rule"]
    assert not differences(before, state_of(scene))
    run(scene, "jar")
    assert sorted(stage.find_all("prop")) == ["jar", "rule"] and names(scene) == ["Jar"]


def saved(path: Path, *keys: str, name: str = "owl") -> str:
    """Another file in which a job ran, saved; its id."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    job = run(bpy.context.scene, *keys, name=name).job
    bpy.ops.wm.save_as_mainfile(filepath=str(path), compress=False)
    return job


@pytest.mark.parametrize("what", ["objects", "scenes"])
@pytest.mark.parametrize("name", ["owl", "fox"])
def test_linked_objects_of_another_job_are_left_alone(what: str, name: str, tmp_path: Path) -> None:
    """Also of the same job in another file, whose id and names are the same."""
    other = saved(tmp_path / "other.blend", "jar", "rule", name=name)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    run(scene, "jar", "brush")
    assert (scene[roles.JOB] == other) == (name == "owl")
    with bpy.data.libraries.load(str(tmp_path / "other.blend"), link=True) as (there, here):
        setattr(here, what, list(getattr(there, what)))
    linked = [item for item in bpy.data.objects if item.library]
    if what == "objects":
        for item in linked:
            scene.collection.objects.link(item)
    stage = run(scene, "jar", "brush", shift=1.0)
    assert sorted(item.name for item in bpy.data.objects if item.library) == ["Jar", "Rule"]
    assert all(item.location.x == 0.0 for item in bpy.data.objects if item.library)
    assert stage.require("prop", "jar").location.x == 1.0 and stage.require("prop", "jar").library is None
    assert sorted(item.name for item in bpy.data.objects if not item.library) == ["Brush", "Jar"]


@pytest.mark.parametrize("name", ["owl", "fox"])
def test_appended_objects_of_another_job_are_the_users(name: str, tmp_path: Path) -> None:
    saved(tmp_path / "other.blend", "jar", "rule", name=name)
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    run(scene, "jar", "brush")
    with bpy.data.libraries.load(str(tmp_path / "other.blend")) as (there, here):
        here.objects = list(there.objects)
    for item in here.objects:
        scene.collection.objects.link(item)
        item.location.y = 4.0
    run(scene, "jar", "brush", shift=1.0)
    run(scene, "jar", shift=1.0)  # now the step makes one less, and takes away what was its own
    assert sorted((item.name, item.location.y) for item in scene.objects) == [("Jar", 0.0), ("Jar.001", 4.0), ("Rule", 4.0)]


def test_an_appended_scene_goes_on_as_a_job_of_its_own(tmp_path: Path) -> None:
    saved(tmp_path / "other.blend", "jar", "brush")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    first = run(scene, "jar", "brush").job
    with bpy.data.libraries.load(str(tmp_path / "other.blend")) as (there, here):
        here.scenes = list(there.scenes)
    appended = here.scenes[0]
    before = state_of(scene)
    stage = run(appended, "jar", "brush", shift=1.0)
    assert stage.job != first and len(names(appended)) == 2
    assert not differences(before, state_of(scene))


def test_a_scene_appended_to_an_empty_file_is_the_same_job(tmp_path: Path) -> None:
    """Its objects come under other numbers where the names are taken."""
    job = saved(tmp_path / "other.blend", "jar", "brush")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    for name in ("Jar", "Brush"):
        bpy.context.scene.collection.objects.link(bpy.data.objects.new(name, None))
    with bpy.data.libraries.load(str(tmp_path / "other.blend")) as (there, here):
        here.scenes = list(there.scenes)
    appended = here.scenes[0]
    assert names(appended) == ["Brush.001", "Jar.001"]
    stage = run(appended, "jar", "brush", shift=1.0)
    assert stage.job == job and len(names(appended)) == 2 and stage.require("prop", "jar").location.x == 1.0


def test_a_copy_of_an_object_stays_the_users_also_when_the_first_is_deleted(scene: Any) -> None:
    copy = bpy.data.objects["Jar"].copy()
    scene.collection.objects.link(copy)
    bpy.data.objects.remove(bpy.data.objects["Jar"])
    run(scene, shift=1.0)
    run(scene, shift=2.0)
    assert names(scene) == ["Brush", "Jar.001"] and copy.location.x == 0.0


def test_a_job_of_0_1_0_keeps_its_id(scene: Any) -> None:
    """There the id was the name of the scene."""
    old = scene[roles.JOB]
    for kind in roles.KINDS:
        for block in getattr(bpy.data, kind):
            if block.get(roles.JOB) == old:
                block[roles.JOB] = "Scene"
    scene[roles.JOB] = "Scene"
    del scene["bozzetto_scene"]
    scene.name = "Owl"
    stage = run(scene, shift=1.0)
    assert stage.job == "Scene" and names(scene) == ["Brush", "Jar"] and bpy.data.objects["Jar"].location.x == 1.0
    assert run(bpy.data.scenes.new("Scene")).job != "Scene"


def test_what_the_first_job_made_is_not_taken_for_deleted_in_a_linked_copy(scene: Any) -> None:
    copy = copied("LINK_COPY")
    stage = run(copy)
    assert not stage.notes.kept()
    assert set(read_state(copy)["made"]["tabletop"][0]) and sorted(stage.find_all("prop")) == ["brush", "jar"]
