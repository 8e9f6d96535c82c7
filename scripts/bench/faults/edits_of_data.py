"""Edits of shots, materials, pictures, lights, the world and the scene; see `edits_of_objects.py` and `edits.py`."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np

from blender_addon.scene.compat import our_compositor
from blender_addon.scene.running.job_card import SHEET_TEXT
from blender_addon.scene.stage import Stage

from .edits_of_objects import (
    Edit,
    animate,
    attribute,
    curves,
    first_vertex,
    gone,
    on,
    own_empty,
    own_material,
    role,
    scale_vertex,
    thing,
)


def scene(stage: Stage) -> Any:
    """The job's scene."""
    return stage.scene


def first_colour(tree: Any) -> Any:
    """The first unlinked colour input in a node tree."""
    return next(socket for node in tree.nodes for socket in node.inputs if socket.type == "RGBA" and not socket.is_linked)


def redden(tree: Any) -> None:
    """Set it red."""
    first_colour(tree).default_value = (1.0, 0.0, 0.0, 1.0)


def redness(tree: Any) -> list[float]:
    """What it is set to."""
    return [round(value, 3) for value in first_colour(tree).default_value]


def tree_of(key: str) -> Any:
    """The node tree of the first material of a thing on the table."""
    return lambda stage: stage.find("prop", key).data.materials[0].node_tree


def group_in(tree: Any) -> Any:
    """The first node group that a tree wears."""
    return next(node.node_tree for node in tree.nodes if getattr(node, "node_tree", None))


def inside(owner: Any) -> Any:
    """The node group inside what an owner finds."""
    return lambda stage: group_in(owner(stage))


def surface_tree(stage: Stage) -> Any:
    """The node tree of the material that the piece wears."""
    return stage.find("piece").material_slots[0].material.node_tree


def first_number(group: Any) -> Any:
    """An unlinked number inside a node group."""
    return next(
        socket for node in group.nodes for socket in node.inputs
        if socket.type == "VALUE" and not socket.is_linked and socket.enabled
    )  # fmt: skip


def set_number(group: Any) -> None:
    """Another number."""
    first_number(group).default_value = 0.321


def number(group: Any) -> float:
    """What it is."""
    return round(float(first_number(group).default_value), 4)


def paint(image: Any) -> None:
    """A red corner, kept as a painter keeps it."""
    values = np.zeros(len(image.pixels), np.float32)
    image.pixels.foreach_get(values)
    values[:400:4] = 1.0
    image.pixels.foreach_set(values)
    image.update()
    image.pack()


def corner(image: Any) -> list[float]:
    """The first pixels' red."""
    return [round(value, 2) for value in list(image.pixels[:40:4])]


def own_world(stage: Stage) -> None:
    """A world of the user's own on the scene."""
    stage.scene.world = bpy.data.worlds.new("My sky")


def own_compositor(stage: Stage) -> Any:
    """The first unlinked number of the finish in our compositor."""
    tree = our_compositor(stage.scene)
    node = next(candidate for candidate in tree.nodes if getattr(candidate, "node_tree", None))
    return node.inputs["Vignette"]


def comment(stage: Stage) -> None:
    """A comment in the sheet's text."""
    text = bpy.data.texts[SHEET_TEXT]
    text.from_string("# Ask about the base.\n" + text.as_string())


def move_root(stage: Stage) -> None:
    """Our root collection into one of the user's own."""
    root = bpy.data.collections["Bozzetto"]
    own = bpy.data.collections.new("My project")
    stage.scene.collection.children.link(own)
    own.children.link(root)
    stage.scene.collection.children.unlink(root)


def roots(stage: Stage) -> list[str]:
    """Where our root collections are."""
    every = [stage.scene.collection, *stage.scene.collection.children_recursive]
    return sorted(
        f"{collection.name}/{child.name}"
        for collection in every
        for child in collection.children
        if child.name.startswith("Bozzetto")
    )


def put_inside(stage: Stage) -> None:
    """An object of the user's in our collection."""
    bpy.data.collections["Set"].objects.link(bpy.data.objects.new("My vase", None))


def mine_inside(stage: Stage) -> list[str]:
    """The user's objects in our collection."""
    return [item.name for item in bpy.data.collections["Set"].objects if item.name.startswith("My ")]


def aim(item: Any) -> None:
    """The shot focused on an object."""
    item.data.dof.focus_object = own_empty("My focus")


hero, back, detail = (role("shot", name) for name in ("hero", "back", "detail"))
key, fill, rim = (role("light", f"soft {name}") for name in ("key", "fill", "rim"))

DATA = (
    Edit("shot deleted", "back", *gone(back)),
    Edit("shot's lens changed", "hero", *on(
        hero, lambda o: o.__setitem__("bozzetto_focal_mm", 60.0), lambda o: o["bozzetto_focal_mm"])),
    Edit("shot moved", "detail", *attribute(detail, "location", (0.1, -0.3, 0.2))),
    Edit("shot renamed", "hero", *attribute(hero, "name", "The cover")),
    Edit("shot's focus object", "detail", *on(detail, aim, lambda o: o.data.dof.focus_object.name)),
    Edit("shot animated", "back", *on(back, animate, curves)),
    Edit("shot's guides", "hero", *attribute(hero, "data.show_composition_thirds", True)),
    Edit("material's value", "brush", *attribute(
        lambda stage: stage.find("prop", "brush").data.materials[0], "diffuse_color", (1.0, 0.0, 0.0, 1.0))),
    Edit("value inside a group", "rib", *on(inside(tree_of("rib")), set_number, number)),
    Edit("material renamed", "boxwood tool", *attribute(
        lambda stage: stage.find("prop", "boxwood tool").data.materials[0], "name", "Razor")),
    Edit("table's material", "table", *on(lambda s: s.find("table").data.materials[0].node_tree, redden, redness)),
    Edit("value inside the table's group", "table", *on(
        lambda stage: group_in(stage.find("table").data.materials[0].node_tree), set_number, number)),
    Edit("piece's material", "surface", *on(surface_tree, redden, redness)),
    Edit("value inside the clay", "surface", *on(inside(surface_tree), set_number, number)),
    Edit("piece's material renamed", "surface", *attribute(role("surface"), "name", "My clay")),
    Edit("node added", "surface", *on(surface_tree, lambda t: t.nodes.new("ShaderNodeRGB"), lambda t: len(t.nodes))),
    Edit("piece wears another material", "piece", *on(
        role("piece"), lambda o: setattr(o.material_slots[0], "material", own_material()),
        lambda o: o.material_slots[0].material.name)),
    Edit("albedo painted", "albedo", *on(role("albedo"), paint, corner)),
    Edit("albedo's colour space", "albedo", *attribute(role("albedo"), "colorspace_settings.name", "Non-Color")),
    Edit("lamp's power", "key", *attribute(key, "data.energy", 1.25)),
    Edit("lamp moved", "fill", *attribute(fill, "location", (0.5, 0.5, 0.5))),
    Edit("lamp's colour", "rim", *attribute(rim, "data.color", (1.0, 0.5, 0.25))),
    Edit("lamp deleted", "fill", *gone(fill)),
    Edit("lamp's spread", "rim", *attribute(rim, "data.spread", 0.5)),
    Edit("grey card deleted", "card", *gone(role("card", "grey"))),
    Edit("grey card's material", "card", *on(lambda s: s.find("card", "grey").data.materials[0].node_tree, redden, redness)),
    Edit("world's nodes", "world", *on(lambda s: s.find("world").node_tree, set_number, number)),
    Edit("own world", "scene world", own_world, lambda stage: stage.scene.world.name if stage.scene.world else ""),
    Edit("exposure", "exposure", *attribute(scene, "view_settings.exposure", 1.75)),
    Edit("look", "look", *attribute(scene, "view_settings.look", "AgX - Greyscale")),
    Edit("active camera", "camera", *on(
        scene, lambda s: setattr(s, "camera", bpy.data.objects["Shot detail"]), lambda s: s.camera.name)),
    Edit("render engine", "engine", *attribute(scene, "render.engine", "BLENDER_WORKBENCH")),
    Edit("picture's size", "size", *attribute(scene, "render.resolution_x", 777)),
    Edit("samples", "samples", *attribute(scene, "cycles.samples", 33)),
    Edit("frames", "frames", *attribute(scene, "frame_end", 99)),
    Edit("finish in the compositor", "compositor", *attribute(own_compositor, "default_value", 1.5)),
    Edit("comment in the sheet", "text", comment, lambda stage: bpy.data.texts[SHEET_TEXT].as_string().splitlines()[0]),
    Edit("root collection moved", "root", move_root, roots),
    Edit("collection renamed", "Shots", lambda s: setattr(bpy.data.collections["Shots"], "name", "My shots"),
         lambda s: sorted(collection.name for collection in bpy.data.collections if "hots" in collection.name)),
    Edit("collection hidden", "Scan", lambda s: setattr(bpy.data.collections["Scan"], "hide_viewport", True),
         lambda s: bpy.data.collections["Scan"].hide_viewport),
    Edit("own object in ours", "Set", put_inside, mine_inside),
    Edit("units", "units", *attribute(scene, "unit_settings.system", "IMPERIAL")),
    Edit("turntable moved", "pivot", *attribute(role("pivot"), "location", (0.0, 0.0, 0.05))),
    Edit("a rib sculpted", "rib", *on(thing("rib"), scale_vertex, first_vertex)),
)  # fmt: skip
"""Edits of the rest."""
