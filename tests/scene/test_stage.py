"""The stage: built beside, swapped at the end, nothing of the user's lost."""

from __future__ import annotations

from dataclasses import dataclass

import bpy
import numpy as np
import pytest

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.job.errors import SubjectError
from blender_addon.job.runner import finish
from blender_addon.job.settings import number
from blender_addon.job.sheet import blank
from blender_addon.job.step import Step
from blender_addon.scene import roles
from blender_addon.scene.compat import node_tree_of
from blender_addon.scene.dressing.set_parts import offer_part
from blender_addon.scene.images import make_image
from blender_addon.scene.meshes import make_object, read_mesh
from blender_addon.scene.stage import Stage
from blender_addon.scene.swap import edited
from blender_addon.steps import catalogue
from blender_addon.steps.delivery import export
from tests.scene.tetra import TETRA


@dataclass(kw_only=True)
class Own:
    much: float = number(1.0, low=0.0, high=10.0, help="much")


def _step(name: str = "tabletop", folder: str = "dressing") -> Step:
    return Step(name, folder, name.title(), "", Own, (), (), ("prop",), lambda stage, own: iter(()))


@pytest.fixture
def stage():
    bpy.ops.wm.read_factory_settings(use_empty=True)
    return Stage(bpy.context.scene, blank((_step(),)))


def make(stage: Stage, *keys: str, shift: float = 0.0, role: str = "prop", afresh: bool = False) -> None:
    stage.begin(_step(), afresh=afresh)
    for key in keys:
        item = make_object("new", TETRA)
        item.location.x = shift
        stage.offer(role, item, key=key, name=f"Prop {key}")
    stage.swap()


def names() -> list[str]:
    return sorted(item.name for item in bpy.data.objects)


def test_offers_are_named_housed_and_found(stage):
    make(stage, "jar", "brush")
    assert names() == ["Prop brush", "Prop jar"]
    assert stage.find("prop", "jar").users_collection[0].name == "Set"
    assert list(stage.find_all("prop")) == ["brush", "jar"]


def test_running_twice_gives_the_same_scene(stage):
    make(stage, "jar", "brush")
    counts = {kind: len(getattr(bpy.data, kind)) for kind in roles.KINDS}
    make(stage, "jar", "brush")
    assert {kind: len(getattr(bpy.data, kind)) for kind in roles.KINDS} == counts
    assert names() == ["Prop brush", "Prop jar"]


def test_discard_leaves_the_scene_as_it_was(stage):
    make(stage, "jar")
    stage.begin(_step(), afresh=False)
    stage.offer("prop", make_object("half", TETRA), key="jar", name="Prop jar")
    bpy.data.materials.new("half")
    stage.discard()
    assert names() == ["Prop jar"] and not bpy.data.materials and len(bpy.data.meshes) == 1


def test_what_the_user_moved_stays_and_is_said(stage):
    make(stage, "jar", "brush")
    stage.find("prop", "jar").location.y = 5.0
    make(stage, "jar", "brush", shift=1.0)
    assert stage.find("prop", "jar").location.y == 5.0
    assert stage.find("prop", "brush").location.x == 1.0
    assert any("Prop jar" in note.words for note in stage.notes)


def test_what_the_user_sculpted_stays(stage):
    make(stage, "jar")
    mesh = stage.find("prop", "jar").data
    mesh.vertices[0].co.x = -3.0
    make(stage, "jar", shift=1.0)
    assert stage.find("prop", "jar").data.vertices[0].co.x == -3.0


def test_what_the_user_deleted_stays_away_until_made_afresh(stage):
    make(stage, "jar", "brush")
    bpy.data.objects.remove(stage.find("prop", "jar"))
    make(stage, "jar", "brush")
    assert names() == ["Prop brush"]
    make(stage, "jar", "brush", afresh=True)
    assert names() == ["Prop brush", "Prop jar"]


def test_afresh_replaces_what_was_changed(stage):
    make(stage, "jar")
    stage.find("prop", "jar").location.y = 5.0
    make(stage, "jar", afresh=True)
    assert stage.find("prop", "jar").location.y == 0.0


def test_a_copy_is_the_users_and_never_touched(stage):
    make(stage, "jar")
    copy = stage.find("prop", "jar").copy()
    copy.location.z = 2.0
    bpy.context.scene.collection.objects.link(copy)
    make(stage, "jar", shift=1.0)
    assert copy.location.z == 2.0 and stage.find("prop", "jar").location.x == 1.0


def test_what_is_no_longer_made_goes_unless_changed(stage):
    make(stage, "jar", "brush", "rule")
    stage.find("prop", "rule").location.y = 5.0
    make(stage, "jar")
    assert names() == ["Prop jar", "Prop rule"]
    assert roles.ROLE not in bpy.data.objects["Prop rule"]


def test_things_that_refer_to_each_other_go_together(stage):
    stage.begin(_step(), afresh=False)
    pair = [make_object("new", TETRA) for _ in range(2)]
    for item, other, key in zip(pair, reversed(pair), ("pieces", "points"), strict=True):
        item.modifiers.new("of", "BOOLEAN").object = other
        stage.offer("prop", item, key=key, name=f"Prop {key}")
    stage.swap()
    make(stage, "jar")
    assert names() == ["Prop jar"]


def test_what_referred_to_a_thing_that_goes_is_no_edit(stage):
    """A material whose picture an earlier step no longer makes, also by way of a node group; the object that wears it."""

    def picture(*, made: bool) -> None:
        stage.begin(_step("albedo", "surface"), afresh=False)
        if made:
            stage.offer("albedo", make_image("Albedo", np.ones((2, 2, 3))), name="Albedo")
        stage.swap()

    def surface() -> None:
        image = stage.find("albedo")
        stage.begin(_step("material", "surface"), afresh=False)
        material, group = bpy.data.materials.new("Clay"), bpy.data.node_groups.new("Relief", "ShaderNodeTree")
        group.nodes.new("ShaderNodeTexImage").image = image
        node_tree_of(material).nodes.new("ShaderNodeGroup").node_tree = group
        stage.offer("surface", material, name="Clay")
        item = make_object("new", TETRA, materials=[material])
        stage.offer("piece", item, name="Piece")
        stage.swap()

    picture(made=True)
    surface()
    picture(made=False)
    assert not bpy.data.images
    assert not any(edited(stage.find(role)) for role in ("surface", "piece"))
    surface()
    assert not list(stage.notes) and len(bpy.data.node_groups) == len(bpy.data.materials) == 1
    picture(made=True)
    surface()
    stage.find("surface").diffuse_color[0] = 0.123
    picture(made=False)
    surface()
    assert [note for note in stage.notes if "Clay" in note.words]  # changed by the user
    assert stage.find("surface").diffuse_color[0] == pytest.approx(0.123)


def test_a_material_that_the_user_changed_is_named_where_nothing_uses_it_any_more(stage):
    for name in ("Clay", "Wood", "Slip"):
        stage.begin(_step(), afresh=False)
        item = make_object("new", TETRA, materials=[bpy.data.materials.new(name)])
        offer_part(stage, "prop", item, key="jar", name="Jar")
        stage.swap()
        bpy.data.materials["Clay"].diffuse_color[0] = 0.1
    assert sorted(material.name for material in bpy.data.materials) == ["Clay", "Slip"]
    assert [note.level for note in stage.notes if "Clay" in note.words] == ["kept"] and len(list(stage.notes)) == 1


def test_users_of_an_old_object_point_at_the_new_one(stage):
    make(stage, "jar")
    mine = bpy.data.objects.new("mine", None)
    bpy.context.scene.collection.objects.link(mine)
    mine.constraints.new("TRACK_TO").target = stage.find("prop", "jar")
    make(stage, "jar", shift=1.0)
    assert mine.constraints[0].target == stage.find("prop", "jar")


def test_new_data_uses_what_the_user_changed_instead_of_what_was_offered(stage):
    """As debris uses its shapes, and a piece its material: kept in the file alone, a change would be lost in the picture."""

    def build(shift: float) -> None:
        stage.begin(_step(), afresh=False)
        shape, user = make_object("shape", TETRA), make_object("user", TETRA)
        material = bpy.data.materials.new("paint")
        user.data.materials.append(material)
        user.constraints.new("TRACK_TO").target = shape
        user.location.x = shift
        stage.offer("surface", material, key="piece", name="Paint")
        stage.offer("prop", shape, key="shape", name="Shape")
        stage.offer("prop", user, key="user", name="User")
        stage.swap()

    build(0.0)
    shape, paint = stage.require("prop", "shape"), stage.require("surface", "piece")
    shape.data.vertices[0].co.z += 1.0
    paint.diffuse_color = (1.0, 0.0, 0.0, 1.0)
    homes = list(shape.users_collection)
    build(1.0)
    user = stage.require("prop", "user")
    assert user.location.x == 1.0  # made again
    assert (stage.require("prop", "shape"), stage.require("surface", "piece")) == (shape, paint)
    assert user.constraints[0].target == shape and user.data.materials[0] == paint
    assert list(shape.users_collection) == homes
    assert names() == ["Shape", "User"] and [material.name for material in bpy.data.materials] == ["Paint"]


def test_scaffolding_is_swept_and_the_users_things_are_not(stage):
    bpy.data.materials.new("mine, unused")
    stage.begin(_step(), afresh=False)
    bpy.context.scene.collection.objects.link(make_object("scaffold", TETRA))
    stage.swap()
    assert not bpy.data.objects and not bpy.data.meshes
    assert "mine, unused" in bpy.data.materials


def test_an_edit_at_the_swap_does_not_count_as_the_users(stage):
    make(stage, "jar")
    stage.begin(_step("render", "delivery"), afresh=False)
    stage.edit(stage.find("prop", "jar"), lambda item: setattr(item, "hide_render", True))
    assert not stage.find("prop", "jar").hide_render
    stage.swap()
    assert stage.find("prop", "jar").hide_render
    make(stage, "jar", shift=1.0)
    assert stage.find("prop", "jar").location.x == 1.0


def test_a_scene_that_is_renamed_meanwhile_is_found_and_one_that_is_deleted_is_said(stage):
    stage.begin(_step(), afresh=False)
    stage.offer("prop", make_object("new", TETRA), key="jar", name="Jar")
    stage.scene.name = "Spring"
    another = bpy.data.scenes.new("Scene")  # takes the old name
    stage.swap()
    assert stage.scene.name == "Spring" and stage.find("prop", "jar").name in bpy.data.scenes["Spring"].objects
    assert not another.objects
    bpy.data.scenes.remove(bpy.data.scenes["Spring"])
    bpy.data.scenes.remove(bpy.data.scenes.new("Spare"))
    with pytest.raises(SubjectError, match='"Spring" was deleted'):
        stage.find("prop", "jar")


def test_what_is_required_and_missing_is_said_in_words(stage):
    with pytest.raises(SubjectError, match="There is no piece yet"):
        stage.require("piece")


def test_meshes_come_back_as_they_went(stage):
    rng = np.random.default_rng(1)
    uv = rng.random((4, 3, 2)).astype(np.float32)
    marks = np.array([True, False, False, True])
    mesh = TriangleMesh(TETRA.vertices, TETRA.faces, uv, np.array([0, 1, 1, 0], np.int32), {}, {"filled": marks})
    back = read_mesh(make_object("x", mesh, materials=[bpy.data.materials.new("a"), bpy.data.materials.new("b")]))
    assert np.array_equal(back.vertices, mesh.vertices) and np.array_equal(back.faces, mesh.faces)
    assert np.array_equal(back.uv, uv) and list(back.material) == [0, 1, 1, 0]
    assert np.array_equal(back.face_marks["filled"], marks)


def test_only_the_furthest_state_of_the_subject_shows(stage):
    for role in ("scan", "upright", "piece"):
        make_role(stage, role)
    shown = {role: not stage.find(role).hide_render for role in ("scan", "upright", "piece")}
    assert shown == {"scan": False, "upright": False, "piece": True}
    make_role(stage, "upright")
    assert stage.find("upright").hide_render and not stage.find("piece").hide_render


def make_role(stage: Stage, role: str) -> None:
    stage.begin(Step(f"makes {role}", "scan", role, "", Own, (), (), (role,), lambda stage, own: iter(())), afresh=False)
    stage.offer(role, make_object("new", TETRA), name=role.title())
    stage.swap()


def test_the_page_of_a_resumed_run_keeps_the_warnings_of_steps_that_did_not_run_again(stage, tmp_path):
    """A later run has new notes: what the relief warned of would be lost. Run again without a warning, it says none."""

    def said(step: str, *warnings: str) -> str:
        later = Stage(bpy.context.scene, blank(catalogue()), out=tmp_path)
        for name, words in ((step, warnings), ("export", ())):
            later.begin(_step(name), afresh=False)
            for word in words:
                later.warn(word)
            if name == step:
                later.keep_result(name, "done", {})
        finish(export.run(later, export.Settings(glb=False)))
        return (tmp_path / "maker.html").read_text(encoding="utf-8")

    assert "a third is shared" in said("relief", "a third is shared")
    page = said("material", "these marks are invented")
    assert page.index("a third is shared") < page.index("these marks are invented") and page.count("a third is shared") == 1
    assert "a third is shared" not in said("relief") and "To look at" in page
