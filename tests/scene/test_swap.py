"""A swap that fails anywhere leaves the file as it was: old objects, names, links, edits; done again it goes through."""

from __future__ import annotations

import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from types import FrameType
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.job.settings import number
from blender_addon.job.sheet import blank
from blender_addon.job.step import Step
from blender_addon.scene.dressing import lights, set_parts
from blender_addon.scene.dressing.set_materials import plain_material
from blender_addon.scene.meshes import make_object
from blender_addon.scene.nodes.finish import put_finish
from blender_addon.scene.stage import Stage
from tests.scene.tetra import TETRA
from tests.scene.whole_file import differences, whole_file

SCENE = Path(__file__).resolve().parents[2] / "blender_addon" / "scene"
EVERY_LINE = {"swap.py", "exchange.py", "stage.py", "visibility.py", "scene_settings.py", "test_swap.py"}
"""Where each line is made to fail; elsewhere below `scene` the first line of each call."""


@dataclass(kw_only=True)
class Own:
    much: float = number(1.0, low=0.0, high=10.0, help="much")


def step(name: str, folder: str) -> Step:
    return Step(name, folder, name.title(), "", Own, (), (), ("prop",), lambda stage, own: iter(()))


class Fault(Exception):
    """The fault that is put in."""


class Faulty:
    """Inside the block, the line with number `at` fails; counts them all."""

    def __init__(self, at: int):
        self.at, self.count, self.place = at, 0, ""

    def __enter__(self) -> Faulty:
        sys.settrace(self._called)
        return self

    def __exit__(self, *error: Any) -> None:
        sys.settrace(None)

    def _called(self, frame: FrameType, event: str, argument: Any) -> Callable | None:
        path = Path(frame.f_code.co_filename)
        if path.name in EVERY_LINE:
            return self._line
        if path.parent == SCENE or path.parent.parent == SCENE:
            self._line(frame, "line", None)
        return None

    def _line(self, frame: FrameType, event: str, argument: Any) -> Callable:
        if event == "line":
            self.count += 1
            if self.count == self.at:
                sys.settrace(None)
                self.place = f"{Path(frame.f_code.co_filename).name}:{frame.f_lineno}"
                raise Fault(self.place)
        return self._line


def build(stage: Stage, shift: float) -> None:
    """What the step makes: parts of the set in materials of their own, a light, a world, edits and settings of the scene."""
    stage.begin(step("tabletop", "dressing"), afresh=False)
    for place, key in enumerate(("jar", "brush", "rule", "rib") if shift == 0.0 else ("jar", "brush", "rule", "knife")):
        item = set_parts.make_part(
            key, TETRA, [plain_material("Steel", (0.3 + shift, 0.3, 0.3), rough=0.4, mottle=0.1, size=10.0)]
        )
        item.location = (0.1 * place, shift, 0.0)
        set_parts.offer_part(stage, "prop", item, key=key, name=key.capitalize())
    card = lights.flat_object("Card", 30.0, 30.0, lights.matt_material("Card", (0.18,) * 3))
    stage.offer("card", card, key="grey", name="Grey card")
    world = bpy.data.worlds.new("Room")
    world.color = (0.1 + shift, 0.1, 0.1)
    stage.offer("world", world, key="room", name="Room")
    bpy.context.scene.collection.objects.link(make_object("scaffold", TETRA))
    stage.edit(stage.require("piece"), lambda item: change_piece(item, shift))
    stage.at_swap(lambda: set_up(stage, shift))


def change_piece(item: Any, shift: float) -> None:
    """An edit of an earlier step's object."""
    layer = item.data.attributes.get("cavity") or item.data.attributes.new("cavity", "FLOAT", "POINT")
    layer.data.foreach_set("value", np.full(4, shift, np.float32))
    if not item.modifiers:
        item.modifiers.new("Finer", "SUBSURF")
    item.modifiers[0].levels = 1 + int(shift > 0)


def set_up(stage: Stage, shift: float) -> None:
    """Settings of the scene."""

    def pin() -> None:
        stage.scene.world = stage.find("world", "room")
        stage.scene.view_settings.exposure = 0.5 + shift

    stage.set_up_scene(("world", "view_settings.exposure"), pin)
    stage.set_compositor(lambda: put_finish(stage.scene, {"Grain": 0.01 + shift}))


@pytest.fixture
def stage() -> Stage:
    """A job that ran once and was edited since: moved, deleted, renamed, hidden, painted, housed elsewhere, looked at."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    built = Stage(scene, blank((step("tabletop", "dressing"),)))
    for role in ("upright", "piece"):
        built.begin(step(f"makes {role}", "scan"), afresh=False)
        built.offer(role, make_object("new", TETRA), name=role.title())
        built.swap()
    build(built, 0.0)
    built.swap()
    mine = bpy.data.objects.new("Mine", None)
    scene.collection.objects.link(mine)
    mine.constraints.new("TRACK_TO").target = built.require("prop", "brush")
    mine.parent = built.require("prop", "jar")
    built.require("prop", "rule").location.z = 0.7
    built.require("prop", "jar").name = "Honey"
    built.require("prop", "jar").hide_viewport = True
    own = bpy.data.collections.new("Own")
    scene.collection.children.link(own)
    brush = built.require("prop", "brush")
    own.objects.link(brush)
    bpy.data.collections["Set"].objects.unlink(brush)
    built.require("prop", "brush").active_material.node_tree.nodes[0].inputs[0].default_value = (1.0, 0.0, 0.0, 1.0)
    bpy.context.view_layer.objects.active = brush
    brush.select_set(True)
    bpy.context.view_layer.update()
    return built


def test_a_swap_goes_through_and_keeps_what_was_edited(stage: Stage) -> None:
    build(stage, 0.2)
    stage.swap()
    assert sorted(stage.find_all("prop")) == ["brush", "jar", "knife", "rule"]
    brush, jar = stage.require("prop", "brush"), stage.require("prop", "jar")
    assert stage.require("prop", "rule").location.z == pytest.approx(0.7)
    assert jar.name == "Honey" and jar.hide_viewport and jar.location.y == pytest.approx(0.2)
    assert brush.users_collection[0].name == "Own" and brush.location.y == pytest.approx(0.2)
    assert tuple(brush.active_material.node_tree.nodes[0].inputs[0].default_value)[:2] == (1.0, 0.0)
    mine = bpy.data.objects["Mine"]
    assert mine.constraints[0].target == brush and mine.parent == jar
    assert bpy.context.view_layer.objects.active == brush and brush.select_get()
    assert stage.scene.world == stage.find("world", "room") and stage.scene.view_settings.exposure == pytest.approx(0.7)
    assert not [block.name for block in bpy.data.objects if "replaced" in block.name]


@pytest.mark.parametrize("first", [1, 8])
def test_a_fault_at_any_line_of_the_swap_leaves_the_file_as_it_was(stage: Stage, first: int) -> None:
    """Every 29th line here, in two runs that begin at different ones; all of them were tried when this was written."""
    before = whole_file()
    for at in range(first, 100_000, 29):
        build(stage, 0.2)
        with Faulty(at) as faulty:
            try:
                stage.swap()
            except Fault:
                pass
        if not faulty.place:
            break  # through to the end: there was no such line
        stage.discard()
        found = differences(before, whole_file())
        if finished(stage):
            break
        assert not found, f"{faulty.place} (line {at}): {'; '.join(found[:4])}"
    print(f"{at} lines")
    assert at > 300  # a swap has many lines: a tracer that saw none would pass everything
    assert sorted(stage.find_all("prop")) == ["brush", "jar", "knife", "rule"]


def finished(stage: Stage) -> bool:
    """Whether the new state is there as a whole: a fault may fall behind the end as well."""
    return stage.find("prop", "knife") is not None
