"""Which parts of the set does a shot show: its own table's, not what it hides, nor what the user has hidden himself."""

from __future__ import annotations

from typing import Any

import bpy
import pytest

from blender_addon.scene import roles
from blender_addon.scene.dressing.set_parts import HIDDEN_IN, PART_OF, SHOT_HIDE, SHOT_SET, SPARE, apply_shot_set, restore_set


def thing(scene: Any, name: str, role: str, key: str, **more: Any) -> Any:
    """An object that plays a role in the job."""
    item = bpy.data.objects.new(name, bpy.data.meshes.new(name))
    scene.collection.objects.link(item)
    roles.mark(item, job="job", step="tabletop", role=role, key=key)
    for word, value in more.items():
        item[word] = value
    return item


@pytest.fixture
def parts(empty_scene: Any) -> dict[str, Any]:
    """A table of planks with a jar and a rib, a spare table of cloth with a brush, a piece, something of another job."""
    scene = empty_scene
    found = {
        "planks": thing(scene, "Table", "table", ""), "jar": thing(scene, "Jar", "prop", "jar", **{PART_OF: ""}),
        "rib": thing(scene, "Rib", "prop", "rib", **{PART_OF: ""}),
        "cloth": thing(scene, "Table cloth", "table", "cloth", **{PART_OF: "cloth", SPARE: True}),
        "brush": thing(scene, "Brush", "prop", "brush", **{PART_OF: "cloth", SPARE: True}),
        "piece": thing(scene, "Piece", "piece", ""),
    }  # fmt: skip
    found["cloth"].hide_render = found["brush"].hide_render = True  # as what is spare waits
    other = thing(scene, "Other jar", "prop", "jar")
    other[roles.JOB] = "another job"
    found["other"] = other
    found["shot"] = bpy.data.objects.new("Shot hero", bpy.data.cameras.new("Shot hero"))
    scene.collection.objects.link(found["shot"])
    roles.mark(found["shot"], job="job", step="camera", role="shot", key="hero")
    return found


def shown(parts: dict[str, Any]) -> set[str]:
    return {name for name, item in parts.items() if name != "shot" and not item.hide_render}


def test_a_shot_without_wishes_shows_the_jobs_own_table(parts: dict[str, Any]) -> None:
    apply_shot_set(bpy.context.scene, parts["shot"])
    assert shown(parts) == {"planks", "jar", "rib", "piece", "other"}


def test_what_the_user_has_hidden_stays_hidden_in_every_shot(parts: dict[str, Any]) -> None:
    parts["jar"].hide_render = True
    before = apply_shot_set(bpy.context.scene, parts["shot"])
    assert shown(parts) == {"planks", "rib", "piece", "other"}
    restore_set(bpy.context.scene, before)
    assert parts["jar"].hide_render and not parts["rib"].hide_render


def test_a_shot_of_another_table_shows_that_with_its_things_and_gives_all_back(parts: dict[str, Any]) -> None:
    before = {item.name: item.hide_render for item in bpy.context.scene.objects}
    parts["shot"][SHOT_SET] = "Cloth"
    kept = apply_shot_set(bpy.context.scene, parts["shot"])
    assert shown(parts) == {"cloth", "brush", "piece", "other"}
    restore_set(bpy.context.scene, kept)
    assert {item.name: item.hide_render for item in bpy.context.scene.objects} == before
    parts["shot"][SHOT_SET] = "marble"  # there is none: its own
    apply_shot_set(bpy.context.scene, parts["shot"])
    assert shown(parts) == {"planks", "jar", "rib", "piece", "other"}


@pytest.mark.parametrize(
    ("words", "left"), [("rib", {"planks", "jar"}), (" Jar ,RIB", {"planks"}), ("props", {"planks"}), ("table", {"jar", "rib"})]
)
def test_a_shot_hides_what_it_names(parts: dict[str, Any], words: str, left: set[str]) -> None:
    parts["shot"][SHOT_HIDE] = words
    apply_shot_set(bpy.context.scene, parts["shot"])
    assert shown(parts) == {*left, "piece", "other"}


def test_what_stands_in_the_way_of_one_shot_is_away_in_that_alone(parts: dict[str, Any]) -> None:
    parts["rib"][HIDDEN_IN] = "back, hero"
    parts["jar"][HIDDEN_IN] = "back"
    apply_shot_set(bpy.context.scene, parts["shot"])
    assert shown(parts) == {"planks", "jar", "piece", "other"}
