"""Further edits as users make them, by tools rather than single values: joined, applied, baked, linked; see `edits.py`."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import bpy

from blender_addon.scene.compat import our_compositor
from blender_addon.scene.stage import Stage

from .edits_of_data import back, detail, fill, hero, key, rim, scene, surface_tree
from .edits_of_objects import Edit, attribute, on, own_empty, own_material, placed, role, thing


def by_tool(item: Any, tool: Callable[[], Any], *others: Any) -> None:
    """Run one of Blender's operators with an object active, and others selected with it."""
    chosen = [item, *others]
    for each in chosen:
        each.hide_viewport = False
    with bpy.context.temp_override(active_object=item, object=item, selected_objects=chosen, selected_editable_objects=chosen):
        tool()


def into_other_collection(item: Any) -> None:
    """From our collection of the set into that of the shots."""
    other = bpy.data.collections["Shots"]
    for collection in list(item.users_collection):
        collection.objects.unlink(item)
    other.objects.link(item)


def collections_of(item: Any) -> list[str]:
    """The names of the collections that an object is in."""
    return sorted(collection.name for collection in item.users_collection)


def swap_mesh(item: Any) -> None:
    """Another mesh in an object of ours."""
    mesh = bpy.data.meshes.new("My mesh")
    mesh.from_pydata([(0, 0, 0), (0.05, 0, 0), (0, 0.05, 0)], [], [(0, 1, 2)])
    item.data = mesh


def twin(item: Any) -> None:
    """A linked copy beside, as Alt-D makes it."""
    copy = item.copy()
    copy.name = "My twin"
    copy.location.x += 0.05
    item.users_collection[0].objects.link(copy)


def twins(stage: Stage) -> list[Any]:
    """The copies, and where they are."""
    return sorted((item.name, placed(item)) for item in bpy.data.objects if item.name.startswith("My twin"))


def apply_modifier(item: Any) -> None:
    """A bevel added and applied."""
    modifier = item.modifiers.new("B", "BEVEL")
    modifier.width = 0.0005
    by_tool(item, lambda: bpy.ops.object.modifier_apply(modifier="B"))


def join_other(item: Any) -> None:
    """An object of the user's joined into ours."""
    mesh = bpy.data.meshes.new("My part")
    mesh.from_pydata([(0, 0, 0.1), (0.05, 0, 0.1), (0, 0.05, 0.1)], [], [(0, 1, 2)])
    other = bpy.data.objects.new("My part", mesh)
    item.users_collection[0].objects.link(other)
    by_tool(item, bpy.ops.object.join, other)


def rigid(item: Any) -> None:
    """A constraint that keeps it in a box, and locked axes."""
    item.constraints.new("LIMIT_LOCATION").use_min_x = True
    item.lock_location = (True, False, True)


def bake_target(stage: Stage) -> None:
    """An image to bake into, in the piece's material."""
    node = surface_tree(stage).nodes.new("ShaderNodeTexImage")
    node.image = bpy.data.images.new("My bake", 8, 8)


def baked(stage: Stage) -> Any:
    """The image in that node."""
    images = [getattr(node, "image", None) for node in surface_tree(stage).nodes]
    return [image.name for image in images if image is not None and image.name == "My bake"]


def slot_of_own(item: Any) -> None:
    """A second material on some of the faces."""
    item.data.materials.append(own_material())
    for polygon in list(item.data.polygons)[:5]:
        polygon.material_index = len(item.data.materials) - 1


def slots(item: Any) -> list[Any]:
    """The materials and how many faces wear the last."""
    last = len(item.material_slots) - 1
    return [[slot.name for slot in item.material_slots], sum(polygon.material_index == last for polygon in item.data.polygons)]


def uv_layers(item: Any) -> list[Any]:
    """UV layers and the one that is active."""
    return [item.data.uv_layers.keys(), item.data.uv_layers.active.name]


def second_uv(item: Any) -> None:
    """A second UV layer, made the active one."""
    item.data.uv_layers.active = item.data.uv_layers.new(name="My UVs")


def seams(item: Any) -> None:
    """Some edges marked as seams."""
    item.data.attributes.new("uv_seam", "BOOLEAN", "EDGE")
    item.data.attributes["uv_seam"].data[3].value = True


def volume(stage: Stage) -> None:
    """Mist in the world."""
    tree = stage.find("world").node_tree
    scatter = tree.nodes.new("ShaderNodeVolumeScatter")
    output = next(node for node in tree.nodes if node.bl_idname == "ShaderNodeOutputWorld")
    tree.links.new(scatter.outputs[0], output.inputs["Volume"])


def linked_volume(stage: Stage) -> bool:
    """Whether there is mist."""
    tree = stage.scene.world.node_tree
    return any(node.bl_idname == "ShaderNodeOutputWorld" and node.inputs["Volume"].is_linked for node in tree.nodes)


def key_power(item: Any) -> None:
    """The lamp's power keyed."""
    item.data.keyframe_insert("energy", frame=1)
    item.data.energy *= 2
    item.data.keyframe_insert("energy", frame=10)


def moves(block: Any) -> str:
    """The action of a data-block."""
    return block.animation_data.action.name if block.animation_data and block.animation_data.action else ""


def drive_material(stage: Stage) -> None:
    """A driver on a value of the piece's material."""
    tree = surface_tree(stage)
    socket = next(s for node in tree.nodes for s in node.inputs if s.type == "VALUE" and not s.is_linked and s.enabled)
    socket.driver_add("default_value").driver.expression = "0.4"


def tree_drivers(stage: Stage) -> list[str]:
    """What drives it."""
    found = surface_tree(stage).animation_data
    return [curve.driver.expression for curve in found.drivers] if found else []


def exclude(stage: Stage) -> None:
    """The collection of the set left out of the view layer."""
    layer(stage, "Set").exclude = True


def layer(stage: Stage, name: str) -> Any:
    """A collection in the view layer."""
    waiting = [stage.scene.view_layers[0].layer_collection]
    while waiting:
        found = waiting.pop()
        if found.collection.name == name:
            return found
        waiting += found.children
    return None


def second_layer(stage: Stage) -> None:
    """A view layer of the user's."""
    stage.scene.view_layers.new("My layer").use_pass_z = True


def marker(stage: Stage) -> None:
    """A marker that changes the camera."""
    stage.scene.timeline_markers.new("My cut", frame=12).camera = stage.scene.camera


def compositor_node(stage: Stage) -> None:
    """A node of the user's in our compositor."""
    our_compositor(stage.scene).nodes.new("NodeFrame").label = "Mine"


def compositor_frames(stage: Stage) -> list[str]:
    """The frames in it."""
    return [node.label for node in our_compositor(stage.scene).nodes if node.bl_idname == "NodeFrame" and node.label == "Mine"]


def unpack(image: Any) -> None:
    """A picture of ours that is taken from a file of the user's."""
    image.unpack(method="REMOVE") if image.packed_file else None
    image.filepath = "/my/albedo.png"


def link_light(item: Any) -> None:
    """A lamp that lights only the user's collection."""
    item.light_linking.receiver_collection = bpy.data.collections.new("My lit things")


def own_text(stage: Stage) -> None:
    """A text of the user's."""
    bpy.data.texts.new("My notes").write("call the owner")


def emit(item: Any) -> None:
    """A lamp with nodes."""
    item.data.use_nodes = True
    item.data.node_tree.nodes.new("ShaderNodeBlackbody")


def rename_scene(stage: Stage) -> None:
    """The scene of the job under a name of the user's."""
    stage.scene.name = "My scene"


def behind(item: Any) -> None:
    """A picture to compare with behind the shot."""
    picture = item.data.background_images.new()
    picture.image, picture.alpha = bpy.data.images.new("My photo", 8, 8), 0.75


def group_default(stage: Stage) -> None:
    """The default of the first number on the outside of the group in the piece's material."""
    group_socket(stage).default_value = 0.123


def group_socket(stage: Stage) -> Any:
    """That socket."""
    tree = next(node.node_tree for node in surface_tree(stage).nodes if getattr(node, "node_tree", None))
    sockets = [item for item in tree.interface.items_tree if item.item_type == "SOCKET" and item.in_out == "INPUT"]
    return next(item for item in sockets if item.bl_socket_idname.startswith("NodeSocketFloat"))


MORE = (
    Edit("in another of our collections", "rule", *on(thing("rule"), into_other_collection, collections_of)),
    Edit("another mesh", "rib", *on(thing("rib"), swap_mesh, lambda o: (o.data.name, len(o.data.polygons)))),
    Edit("linked copy", "pencil", lambda stage: twin(thing("pencil")(stage)), twins),
    Edit("modifier applied", "brush", *on(thing("brush"), apply_modifier, lambda o: len(o.data.polygons))),
    Edit("joined", "needle tool", *on(thing("needle tool"), join_other, lambda o: len(o.data.polygons))),
    Edit("locked and limited", "boxwood tool", *on(
        thing("boxwood tool"), rigid, lambda o: [list(o.lock_location), o.constraints.keys()])),
    Edit("an image to bake into", "surface", bake_target, baked),
    Edit("second material on some faces", "piece", *on(role("piece"), slot_of_own, slots)),
    Edit("second UVs, active", "piece", *on(role("piece"), second_uv, uv_layers)),
    Edit("seams marked", "piece", *on(role("piece"), seams, lambda o: "uv_seam" in o.data.attributes)),
    Edit("geometry nodes of their own", "piece", *on(
        role("piece"), lambda o: o.modifiers.new("My nodes", "NODES"), lambda o: "My nodes" in o.modifiers)),
    Edit("remeshed", "piece", *on(
        role("piece"), lambda o: setattr(o.modifiers.new("R", "REMESH"), "voxel_size", 0.002), lambda o: "R" in o.modifiers)),
    Edit("mist in the world", "world", volume, linked_volume),
    Edit("lamp's power animated", "key", *on(key, key_power, lambda o: moves(o.data))),
    Edit("lamp for some things alone", "rim", *on(
        rim, link_light, lambda o: o.light_linking.receiver_collection and o.light_linking.receiver_collection.name)),
    Edit("lamp's own nodes", "fill", *on(fill, emit, lambda o: len(o.data.node_tree.nodes) if o.data.node_tree else 0)),
    Edit("lamp's shape", "rim", *attribute(rim, "data.shape", "ELLIPSE")),
    Edit("material's value driven", "surface", drive_material, tree_drivers),
    Edit("group's default", "surface", group_default, lambda stage: round(group_socket(stage).default_value, 4)),
    Edit("set left out of the view layer", "layer", exclude, lambda stage: layer(stage, "Set").exclude),
    Edit("set hidden in renders", "set", lambda s: setattr(bpy.data.collections["Set"], "hide_render", True),
         lambda s: bpy.data.collections["Set"].hide_render),
    Edit("collection's colour", "Shots", lambda s: setattr(bpy.data.collections["Shots"], "color_tag", "COLOR_03"),
         lambda s: bpy.data.collections["Shots"].color_tag),
    Edit("second view layer", "layers", second_layer, lambda s: [layer.name for layer in s.scene.view_layers]),
    Edit("a pass of the view layer", "pass", *attribute(lambda s: s.scene.view_layers[0], "use_pass_mist", True)),
    Edit("marker with a camera", "marker", marker, lambda s: [(m.name, m.frame) for m in s.scene.timeline_markers]),
    Edit("a frame in the compositor", "compositor", compositor_node, compositor_frames),
    Edit("compositing off", "compositing", *attribute(scene, "render.use_compositing", False)),
    Edit("albedo from a file", "albedo", *on(role("albedo"), unpack, lambda i: i.filepath)),
    Edit("text of their own", "text", own_text, lambda s: [t.as_string() for t in bpy.data.texts if t.name == "My notes"]),
    Edit("frames a second", "fps", *attribute(scene, "render.fps", 30)),
    Edit("first frame", "start", *attribute(scene, "frame_start", 5)),
    Edit("border of the render", "border", *attribute(scene, "render.use_border", True)),
    Edit("size in percent", "percent", *attribute(scene, "render.resolution_percentage", 50)),
    Edit("transparent film", "film", *attribute(scene, "render.film_transparent", True)),
    Edit("motion blur", "blur", *attribute(scene, "render.use_motion_blur", True)),
    Edit("bounces", "bounces", *attribute(scene, "cycles.max_bounces", 3)),
    Edit("output path", "path", *attribute(scene, "render.filepath", "//my/")),
    Edit("scene renamed", "scene", rename_scene, lambda stage: stage.scene.name),
    Edit("note on the scene", "note", *on(scene, lambda s: s.__setitem__("client", "Ada"), lambda s: s.get("client"))),
    Edit("shot's shift", "hero", *attribute(hero, "data.shift_x", 0.1)),
    Edit("shot without perspective", "detail", *attribute(detail, "data.type", "ORTHO")),
    Edit("shot's lens animated", "back", *on(
        back, lambda o: o.data.keyframe_insert("lens", frame=1), lambda o: moves(o.data))),
    Edit("shot tracks an object", "detail", *on(
        detail, lambda o: setattr(o.constraints.new("TRACK_TO"), "target", own_empty("My aim")),
        lambda o: [c.target.name for c in o.constraints])),
    Edit("gamma", "gamma", *attribute(scene, "view_settings.gamma", 1.2)),
    Edit("view transform", "transform", *attribute(scene, "view_settings.view_transform", "Standard")),
    Edit("curves of the view", "curves", *attribute(scene, "view_settings.use_curve_mapping", True)),
    Edit("gravity", "gravity", *attribute(scene, "gravity", (0.0, 0.0, -1.0))),
    Edit("name shown", "rule", *attribute(thing("rule"), "show_name", True)),
    Edit("pass number", "rib", *attribute(thing("rib"), "pass_index", 4)),
    Edit("colour in the view", "pencil", *attribute(thing("pencil"), "color", (1.0, 0.0, 0.0, 1.0))),
    Edit("a picture behind a shot", "back", *on(back, behind, lambda o: [b.alpha for b in o.data.background_images])),
    Edit("dupes of a child", "brush", *attribute(thing("brush"), "instance_type", "VERTS")),
)  # fmt: skip
"""All of them."""
