"""The only place that looks at Blender's version: the differences between the supported releases."""

from __future__ import annotations

from typing import Any

import bpy

VERSION: tuple[int, int, int] = bpy.app.version

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
