"""Changes the relief's three bands and its painted mask directly in the piece's material, without a run."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from .. import roles
from ..nodes.materials import link_mask, relief_nodes
from ..nodes.relief import BANDS, RELIEF_MASK
from ..prints.fingerprint import noted, unchanged

if TYPE_CHECKING:
    import bpy

    from ..stage import Stage


def set_band(scene: bpy.types.Scene, setting: str, value: float) -> int:
    """Set a band, by the name of its setting ('relief_fine'), in the job's materials; returns the number of nodes set."""
    name = next(socket for socket, own in BANDS.items() if own == setting)
    count = 0
    for material in roles.players(scene.get(roles.JOB, ""), role="surface", scene=scene, kinds=("materials",)):
        sockets = [node.inputs[name] for node in relief_nodes(material.node_tree) if name in node.inputs]
        count += len(sockets)
        if any(socket.default_value != value for socket in sockets):
            _ours(material, partial(_set_all, sockets, value))
    return count


def followed(setting: str) -> Callable[[bpy.types.PropertyGroup, bpy.types.Context], None]:
    """An update callback for a band's property, which sets the material at once. Blender requires that it returns None."""

    def follow(group: bpy.types.PropertyGroup, context: bpy.types.Context) -> None:
        set_band(group.id_data, setting, getattr(group, setting))

    return follow


def _set_all(sockets: Sequence[bpy.types.NodeSocket], value: float) -> None:
    for socket in sockets:
        socket.default_value = value


def begin_mask(stage: Stage) -> bpy.types.Object | None:
    """The piece's relief mask for painting, linked to its material; mid-grey where it is new. None without a piece."""
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


def _ours(material: bpy.types.Material, change: Callable[[], object]) -> None:
    """Make a change that corresponds to a setting, so that it does not count as the user's edit of the material."""
    kept = material.get(roles.PRINT)
    before = bool(kept) and unchanged(material, kept)
    change()
    if before:
        material[roles.PRINT] = noted(material)
