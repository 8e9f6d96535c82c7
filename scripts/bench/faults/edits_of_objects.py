"""Edits that a person may make by hand in a finished job, each with a check that it is still there; see `edits.py`."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from blender_addon.scene.stage import Stage

Change = Callable[[Stage], Any]


@dataclass(frozen=True)
class Edit:
    """One edit: of which data-blocks (edits of one block are tried apart), what is done, and what shows that it is there.

    `seen` reads it from the scene; the edit is kept when that reads the same after a run as before it.
    """

    name: str
    of: str
    make: Change
    seen: Change


def placed(item: Any) -> list[float]:
    """Where an object stands and how it is turned and stretched."""
    return [round(value, 5) for row in item.matrix_basis for value in row]


def prop(stage: Stage, key: str) -> Any:
    """A thing on the table."""
    return stage.find("prop", key)


def own_empty(name: str) -> Any:
    """An object of the user's own."""
    found = bpy.data.objects.get(name)
    if found is None:
        found = bpy.data.objects.new(name, None)
        bpy.context.scene.collection.objects.link(found)
    return found


def own_material() -> Any:
    """A material of the user's own."""
    return bpy.data.materials.get("My paint") or bpy.data.materials.new("My paint")


def constrain(item: Any) -> None:
    """A constraint on one of the user's objects."""
    item.constraints.new("COPY_ROTATION").target = own_empty("My empty")


def weigh(item: Any) -> None:
    """A vertex group with a weight."""
    item.vertex_groups.new(name="My group").add([0, 1, 2], 0.5, "REPLACE")


def weights(item: Any) -> list[Any]:
    """Vertex groups and the weights of the first vertices."""
    found = [group.name for group in item.vertex_groups]
    return found + [round(member.weight, 3) for vertex in list(item.data.vertices)[:4] for member in vertex.groups]


def into_own_collection(item: Any) -> None:
    """Moved out of our collection into one of the user's."""
    own = bpy.data.collections.new("My things")
    bpy.context.scene.collection.children.link(own)
    for collection in list(item.users_collection):
        collection.objects.unlink(item)
    own.objects.link(item)


def unlink(item: Any) -> None:
    """Out of all collections, which is not to be deleted, but nearly."""
    for collection in list(item.users_collection):
        collection.objects.unlink(item)


def shift_uv(item: Any) -> None:
    """UVs moved a little, as when an island is dragged."""
    layer = item.data.uv_layers.active
    values = np.zeros(2 * len(layer.uv), np.float32)
    layer.uv.foreach_get("vector", values)
    layer.uv.foreach_set("vector", values + np.float32(0.01))


def uv_mean(item: Any) -> float:
    """The mean of all UVs."""
    layer = item.data.uv_layers.active
    values = np.zeros(2 * len(layer.uv), np.float32)
    layer.uv.foreach_get("vector", values)
    return round(float(values.mean()), 4)


def add_key(item: Any) -> None:
    """A shape key of the user's, with its value."""
    if item.data.shape_keys is None:
        item.shape_key_add(name="Basis")
    item.shape_key_add(name="Mine").value = 0.25


def keys(item: Any) -> list[Any]:
    """Shape keys and their values."""
    shape = item.data.shape_keys
    return [(key.name, round(key.value, 3)) for key in shape.key_blocks] if shape else []


def scale_vertex(item: Any, factor: float = 1.5) -> None:
    """One vertex moved."""
    item.data.vertices[0].co *= factor


def first_vertex(item: Any) -> list[float]:
    """Where the first vertex lies."""
    return [round(value, 6) for value in item.data.vertices[0].co]


def animate(item: Any) -> None:
    """Two keys on the place."""
    item.keyframe_insert("location", frame=1)
    item.location.z += 0.01
    item.keyframe_insert("location", frame=20)


def curves(item: Any) -> str:
    """What moves it."""
    motion = item.animation_data
    return motion.action.name if motion and motion.action else ""


def drive(item: Any) -> None:
    """A driver on the scale."""
    item.driver_add("scale", 0).driver.expression = "1.25"


def drivers(item: Any) -> list[str]:
    """What the drivers say."""
    return [curve.driver.expression for curve in item.animation_data.drivers] if item.animation_data else []


def flat(item: Any) -> None:
    """Shaded flat."""
    item.data.polygons.foreach_set("use_smooth", np.zeros(len(item.data.polygons), bool))
    item.data.update()


def smooth(item: Any) -> int:
    """How many faces are shaded smooth."""
    return sum(polygon.use_smooth for polygon in item.data.polygons)


def attribute(owner: Callable[[Stage], Any], path: str, value: Any) -> tuple[Change, Change]:
    """Set one attribute, and read it."""
    *parts, name = path.split(".")

    def of(stage: Stage) -> Any:
        found = owner(stage)
        for part in parts:
            found = getattr(found, part)
        return found

    def read(stage: Stage) -> Any:
        found = getattr(of(stage), name)
        return [round(float(part), 4) for part in found] if hasattr(found, "__len__") and not isinstance(found, str) else found

    return lambda stage: setattr(of(stage), name, value), read


def role(name: str, key: str | None = None) -> Callable[[Stage], Any]:
    """The data-block that plays a part."""
    return lambda stage: stage.find(name, key)


def thing(key: str) -> Callable[[Stage], Any]:
    """A thing on the table; one that is no longer made and stays because of the edit is known by its name alone."""
    return lambda stage: stage.find("prop", key) or bpy.data.objects.get(key.capitalize())


def on(owner: Callable[[Stage], Any], make: Callable[[Any], Any], seen: Callable[[Any], Any]) -> tuple[Change, Change]:
    """An edit of what an owner finds."""
    return lambda stage: make(owner(stage)), lambda stage: seen(owner(stage))


def gone(owner: Callable[[Stage], Any], how: Callable[[Any], Any] | None = None) -> tuple[Change, Change]:
    """Deleted: it must stay away."""
    return (lambda stage: (how or bpy.data.objects.remove)(owner(stage))), lambda stage: owner(stage) is None


def turn(item: Any) -> None:
    """Turned and stretched."""
    item.rotation_euler.z += 0.4
    item.scale.x *= 1.2


OBJECTS = (
    Edit("moved", "rule", *attribute(thing("rule"), "location", (0.2, 0.1, 0.0))),
    Edit("turned and stretched", "rib", *on(thing("rib"), turn, placed)),
    Edit("deleted", "pencil", *gone(thing("pencil"))),
    Edit("renamed", "brush", *attribute(thing("brush"), "name", "Grandmother's brush")),
    Edit("hidden in renders", "boxwood tool", *attribute(thing("boxwood tool"), "hide_render", True)),
    Edit("hidden in viewports", "needle tool", *attribute(thing("needle tool"), "hide_viewport", True)),
    Edit("hidden by the eye", "pencil", *on(thing("pencil"), lambda o: o.hide_set(True), lambda o: o.hide_get())),
    Edit("not selectable", "rule", *attribute(thing("rule"), "hide_select", True)),
    Edit("constraint", "rib", *on(thing("rib"), constrain, lambda o: [constraint.target.name for constraint in o.constraints])),
    Edit("modifier", "pencil", *on(thing("pencil"), lambda o: o.modifiers.new("B", "BEVEL"), lambda o: o.modifiers.keys())),
    Edit("custom property", "brush", *on(thing("brush"), lambda o: o.__setitem__("note", "hers"), lambda o: o.get("note"))),
    Edit("vertex group", "boxwood tool", *on(thing("boxwood tool"), weigh, weights)),
    Edit("sculpted", "needle tool", *on(thing("needle tool"), scale_vertex, first_vertex)),
    Edit("shaded flat", "rule", *on(thing("rule"), flat, smooth)),
    Edit("parented", "rule", *on(
        thing("rule"), lambda o: setattr(o, "parent", own_empty("My parent")), lambda o: o.parent.name if o.parent else "")),
    Edit("in a collection of their own", "rib", *on(thing("rib"), into_own_collection, lambda o: o.users_collection[0].name)),
    Edit("throws no shadow", "pencil", *attribute(thing("pencil"), "visible_shadow", False)),
    Edit("animated", "brush", *on(thing("brush"), animate, curves)),
    Edit("driven", "boxwood tool", *on(thing("boxwood tool"), drive, drivers)),
    Edit("shown as wire", "needle tool", *attribute(thing("needle tool"), "display_type", "WIRE")),
    Edit("own material", "needle tool", *on(
        thing("needle tool"), lambda o: o.data.materials.__setitem__(0, own_material()), lambda o: o.active_material.name)),
    Edit("table sculpted", "table", *on(role("table"), scale_vertex, first_vertex)),
    Edit("table stretched", "table", *attribute(role("table"), "scale", (1.1, 1.0, 1.0))),
    Edit("backdrop unlinked", "backdrop", *gone(role("backdrop"), unlink)),
    Edit("backdrop moved", "backdrop", *attribute(role("backdrop"), "location", (0.0, 0.3, 0.0))),
    Edit("debris deleted", "debris", *gone(role("debris", "table"))),
    Edit("debris' modifier off", "debris", *on(
        role("debris", "table"), lambda o: setattr(o.modifiers[0], "show_render", False),
        lambda o: o.modifiers[0].show_render)),
    Edit("a shape of the debris", "library", *on(role("debris", "library"), scale_vertex, first_vertex)),
    Edit("scan renamed", "scan", *attribute(role("scan"), "name", "The raw one")),
    Edit("scan shown", "scan", *attribute(role("scan"), "hide_viewport", False)),
    Edit("clean scan sculpted", "clean", *on(role("clean"), scale_vertex, first_vertex)),
    Edit("upright turned", "upright", *on(role("upright"), turn, placed)),
    Edit("piece sculpted", "piece", *on(role("piece"), scale_vertex, first_vertex)),
    Edit("piece's UVs moved", "piece", *on(role("piece"), shift_uv, uv_mean)),
    Edit("shape key on the piece", "piece", *on(role("piece"), add_key, keys)),
    Edit("colours painted on the piece", "piece", *on(
        role("piece"), lambda o: o.data.color_attributes.new("Mine", "FLOAT_COLOR", "POINT"),
        lambda o: "Mine" in o.data.color_attributes)),
    Edit("piece hidden", "piece", *attribute(role("piece"), "hide_render", True)),
)  # fmt: skip
"""Edits of objects and their meshes."""
