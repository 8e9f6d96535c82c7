"""The only place that looks at Blender's version: the differences between the supported releases."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from pathlib import Path
from typing import Any

import bpy

VERSION: tuple[int, int, int] = bpy.app.version

_LIBRARY_MODULES = (
    ("io_scene_gltf2.io.com.library", True),  # 5.2
    ("io_scene_gltf2.io.com.draco", False),  # 4.5 and 5.0, which know Draco alone
)


def importer_library(name: str) -> Path | None:
    """The library file by which the glTF importer unpacks a compression ('bf_intern_draco_bridge', ...); None where this build
    lacks it or the importer does not know that compression."""
    if "meshopt" in name and VERSION < (5, 2, 0):
        return None
    for module, asks_by_name in _LIBRARY_MODULES:
        try:
            own = importlib.import_module(module).dll_path
            path = own(name, name) if asks_by_name else own()
        except (ImportError, AttributeError, KeyError, TypeError, OSError):
            continue
        if path is not None and Path(path).is_file():
            return Path(path)
    return None


RELEASE = ".".join(str(part) for part in VERSION[:2])
"""Major and minor version number. Digests of data-blocks are comparable only within one release."""


def written_by_other_release() -> bool:
    """Whether the open .blend was written by another release of Blender (major and minor number)."""
    return tuple(bpy.data.version[:2]) != VERSION[:2]


def node_tree_of(owner: bpy.types.ID) -> bpy.types.NodeTree:
    """The node tree of a material or world, switched on where that is still needed (before 5.0)."""
    if VERSION < (5, 0, 0):
        owner.use_nodes = True
    return owner.node_tree


def stored_settings(scene: bpy.types.Scene) -> dict[str, Any]:
    """The settings of the job that a scene stores, those that were ever set: a tenth of the time that reading each takes."""
    holder = scene.bl_system_properties_get() if VERSION >= (5, 0, 0) else scene
    held = None if holder is None else holder.get("bozzetto")
    return {} if held is None else dict(held.to_dict())


def set_modifier_input(modifier: bpy.types.Modifier, socket: bpy.types.NodeSocket, value: object) -> None:
    """Set an input of a geometry-nodes modifier; `socket` is the interface socket of the group."""
    if VERSION >= (5, 2, 0):
        getattr(modifier.properties.inputs, socket.identifier).value = value
    else:
        modifier[socket.identifier] = value


def set_media(image_settings: Any, media: str) -> None:
    """Choose 'IMAGE', 'MULTI_LAYER_IMAGE' or 'VIDEO' output before its file format, where releases ask for it (5.0+)."""
    if hasattr(image_settings, "media_type"):
        image_settings.media_type = media


COMPOSITOR_MARK = "bozzetto_compositor"
FINISH = "Finish"
"""Name of the node in the job's compositor that holds the finish group."""


def link_compositor(scene: bpy.types.Scene, group: bpy.types.NodeTree, values: dict[str, float]) -> bool:
    """Build the job's compositor: render layers, then `group` with its inputs set from `values`, then the output.

    Returns False and changes nothing where the user has a compositor of their own. A group of None removes the job's.
    From Blender 5.0 on a new tree is created each time and the previous one is left unchanged, since another scene may use it
    and the swap may be undone; before 5.0 the scene's own tree is rewritten.
    """
    if has_own_compositor(scene):
        return False
    if group is None:
        _drop_compositor(scene)
        return True
    tree = _new_compositor(scene)
    layers = tree.nodes.new("CompositorNodeRLayers")
    layers.scene = scene
    middle = tree.nodes.new("CompositorNodeGroup")
    middle.node_tree = group
    middle.name = middle.label = FINISH
    middle.location = (300.0, 0.0)
    for name, value in values.items():
        middle.inputs[name].default_value = value
    if VERSION >= (5, 0, 0):
        if not any(item.item_type == "SOCKET" and item.in_out == "OUTPUT" for item in tree.interface.items_tree):
            tree.interface.new_socket("Image", in_out="OUTPUT", socket_type="NodeSocketColor")
        end = tree.nodes.new("NodeGroupOutput")
    else:
        end = tree.nodes.new("CompositorNodeComposite")
    end.location = (600.0, 0.0)
    tree.links.new(layers.outputs["Image"], middle.inputs["Image"])
    tree.links.new(middle.outputs["Image"], end.inputs["Image"])
    scene.render.use_compositing = True
    if hasattr(scene.render, "compositor_device"):
        scene.render.compositor_device = "CPU"
    return True


def our_compositor(scene: bpy.types.Scene) -> bpy.types.NodeTree | None:
    """The compositor tree that the job made for a scene; None where there is none."""
    if VERSION >= (5, 0, 0):
        tree = scene.compositing_node_group
        return tree if tree is not None and tree.get(COMPOSITOR_MARK) else None
    return scene.node_tree if scene.use_nodes and scene.get(COMPOSITOR_MARK) else None


def has_own_compositor(scene: bpy.types.Scene) -> bool:
    """Whether the scene has a compositor that the user made."""
    if VERSION >= (5, 0, 0):
        return scene.compositing_node_group is not None and our_compositor(scene) is None
    return bool(scene.use_nodes and scene.node_tree and len(scene.node_tree.nodes) and our_compositor(scene) is None)


def _new_compositor(scene: bpy.types.Scene) -> bpy.types.NodeTree:
    """A new, empty compositor tree, marked as the job's and assigned to the scene."""
    if VERSION >= (5, 0, 0):
        tree = bpy.data.node_groups.new("Bozzetto picture", "CompositorNodeTree")
        tree[COMPOSITOR_MARK] = True
        scene.compositing_node_group = tree
        return tree
    scene.use_nodes = True
    scene[COMPOSITOR_MARK] = True
    scene.node_tree.nodes.clear()
    return scene.node_tree


def _drop_compositor(scene: bpy.types.Scene) -> None:
    if VERSION >= (5, 0, 0):
        scene.compositing_node_group = None
    elif scene.get(COMPOSITOR_MARK):
        scene.node_tree.nodes.clear()
        scene.use_nodes = False
        scene.pop(COMPOSITOR_MARK, None)


def keep_compositor(scene: bpy.types.Scene) -> Callable[[], None]:
    """Remember the job's compositor of a scene; the function returned restores it."""
    if VERSION >= (5, 0, 0):
        before = scene.compositing_node_group  # `link_compositor` creates a new tree and leaves this one unchanged
        return lambda: setattr(scene, "compositing_node_group", before)
    tree = our_compositor(scene)
    middle = next((node for node in tree.nodes if node.bl_idname == "CompositorNodeGroup"), None) if tree else None
    group = middle.node_tree if middle else None
    values = {entry.name: entry.default_value for entry in middle.inputs if not entry.is_linked} if middle else {}

    def back() -> None:
        if our_compositor(scene) is not None:
            link_compositor(scene, group, values)

    return back
