"""The relief steered at once: its three bands and its painted mask in the material that the piece wears, without a run."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING, Any

import numpy as np

from .. import roles
from ..nodes.materials import link_mask, relief_nodes
from ..nodes.relief import BANDS, RELIEF_MASK
from ..prints.fingerprint import noted, unchanged

if TYPE_CHECKING:
    import bpy

    from ..stage import Stage


def set_band(scene: bpy.types.Scene, setting: str, value: float) -> int:
    """Set a band by the name of its setting ('relief_fine') in the materials of the scene's job; how many wear it."""
    name = next(socket for socket, own in BANDS.items() if own == setting)
    count = 0
    for material in roles.players(scene.get(roles.JOB, ""), role="surface", scene=scene):
        sockets = [node.inputs[name] for node in relief_nodes(material.node_tree) if name in node.inputs]
        count += len(sockets)
        if any(socket.default_value != value for socket in sockets):
            _ours(material, partial(_set_all, sockets, value))
    return count


def followed(setting: str) -> Callable[[bpy.types.PropertyGroup, bpy.types.Context], None]:
    """The update of a band's property: the material follows it at once. Blender refuses an update that returns something."""

    def follow(group: bpy.types.PropertyGroup, context: bpy.types.Context) -> None:
        set_band(group.id_data, setting, getattr(group, setting))

    return follow


def _set_all(sockets: Sequence[Any], value: float) -> None:
    for socket in sockets:
        socket.default_value = value


def begin_mask(stage: Stage) -> Any | None:
    """A mask on the piece to paint, mid-grey where it is new, steering the relief of its material; None without a piece."""
    piece, material = stage.find("piece"), stage.find("surface", "piece")
    if piece is None:
        return None
    layers = piece.data.color_attributes
    layer = layers.get(RELIEF_MASK)
    if layer is None:
        layer = layers.new(RELIEF_MASK, "FLOAT_COLOR", "POINT")
        grey = np.tile(np.array([0.5, 0.5, 0.5, 1.0], np.float32), len(piece.data.vertices))
        layer.data.foreach_set("color", grey)
    layers.active_color = layers[RELIEF_MASK]
    if material is not None:
        _ours(material, lambda: link_mask(material.node_tree))
    return layers[RELIEF_MASK]


def _ours(material: bpy.types.Material, change: Callable[[], Any]) -> None:
    """A change that a setting stands for: a material that was ours stays ours, one that the user changed stays theirs."""
    kept = material.get(roles.PRINT)
    before = bool(kept) and unchanged(material, kept)
    change()
    if before:
        material[roles.PRINT] = noted(material)
