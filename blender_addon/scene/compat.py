"""The only place that looks at Blender's version: the differences between the supported releases."""

from __future__ import annotations

import importlib
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


EEVEE = "BLENDER_EEVEE" if VERSION >= (5, 0, 0) else "BLENDER_EEVEE_NEXT"


def node_tree_of(owner: Any) -> Any:
    """The node tree of a material or world, switched on where that is still needed (before 5.0)."""
    if VERSION < (5, 0, 0):
        owner.use_nodes = True
    return owner.node_tree


def set_modifier_input(modifier: Any, socket: Any, value: Any) -> None:
    """Set an input of a geometry-nodes modifier; `socket` is the interface socket of the group."""
    if VERSION >= (5, 2, 0):
        getattr(modifier.properties.inputs, socket.identifier).value = value
    else:
        modifier[socket.identifier] = value


def modifier_input(modifier: Any, socket: Any) -> Any:
    """The value of an input of a geometry-nodes modifier."""
    if VERSION >= (5, 2, 0):
        return getattr(modifier.properties.inputs, socket.identifier).value
    return modifier[socket.identifier]


def set_node_mode(node: Any, name: str, value: str) -> None:
    """Set a node's mode that became a menu socket in 5.x: by property where it has one, else by the socket's shown name.

    `name` is the property ('mode'), `value` its enum key ('POINTS'); the socket is found by the same words in title case.
    """
    if name in node.bl_rna.properties:
        setattr(node, name, value)
        return
    node.inputs[name.replace("_", " ").title()].default_value = value.replace("_", " ").title()


def set_media(image_settings: Any, media: str) -> None:
    """Choose 'IMAGE', 'MULTI_LAYER_IMAGE' or 'VIDEO' output before its file format, where releases ask for it (5.0+)."""
    if hasattr(image_settings, "media_type"):
        image_settings.media_type = media


COMPOSITOR_MARK = "bozzetto_compositor"


def link_compositor(scene: Any, group: Any, values: dict[str, float]) -> bool:
    """Render layers through a node group to the picture, the group's inputs by name; before 5.0 in the scene's own tree.

    Where the user has a compositor of their own nothing is done and the answer is False. A group of None takes ours away.
    """
    tree = _compositor(scene)
    if tree is None:
        return False
    tree.nodes.clear()
    if group is None:
        _drop_compositor(scene, tree)
        return True
    layers = tree.nodes.new("CompositorNodeRLayers")
    layers.scene = scene
    middle = tree.nodes.new("CompositorNodeGroup")
    middle.node_tree = group
    middle.name = middle.label = group.name
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


def our_compositor(scene: Any) -> Any | None:
    """Our compositor tree of a scene, None where there is none."""
    if VERSION >= (5, 0, 0):
        tree = scene.compositing_node_group
        return tree if tree is not None and tree.get(COMPOSITOR_MARK) else None
    return scene.node_tree if scene.use_nodes and scene.get(COMPOSITOR_MARK) else None


def _compositor(scene: Any) -> Any | None:
    """Our compositor tree of a scene, made when there is none; None when the scene has one that is not ours."""
    if VERSION >= (5, 0, 0):
        tree = scene.compositing_node_group
        if tree is None:
            tree = bpy.data.node_groups.new("Bozzetto picture", "CompositorNodeTree")
            tree[COMPOSITOR_MARK] = True
            scene.compositing_node_group = tree
        return tree if tree.get(COMPOSITOR_MARK) else None
    if scene.use_nodes and scene.node_tree and len(scene.node_tree.nodes) and not scene.get(COMPOSITOR_MARK):
        return None
    scene.use_nodes = True
    scene[COMPOSITOR_MARK] = True
    return scene.node_tree


def _drop_compositor(scene: Any, tree: Any) -> None:
    if VERSION >= (5, 0, 0):
        scene.compositing_node_group = None
        if tree.users == 0:
            bpy.data.node_groups.remove(tree)
    else:
        scene.use_nodes = False
        scene.pop(COMPOSITOR_MARK, None)
