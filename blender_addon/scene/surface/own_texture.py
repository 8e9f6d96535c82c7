"""Which picture or vertex colours did the scan come with?

Looked up in the mesh's own materials: what the job puts on hangs on the object's slots, so that the scan's stay where they are.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from ...core.srgb import decode
from ..images import LARGEST, read_pixels
from ..nodes.closeups import LAYER
from ..nodes.materials import CloseupMaps, Maps
from ..nodes.relief import RELIEF_MASK
from ..scan.importers import COLOUR
from .base_picture import base_picture

if TYPE_CHECKING:
    import bpy

    from ..stage import Stage


def own_attribute(item: bpy.types.Object) -> str:
    """The name of the scan's vertex colours, '' without any; masks that were painted for regions are other layers."""
    layers = item.data.color_attributes
    others = [layer for layer in layers if layer.name != RELIEF_MASK]
    layer = layers.get(COLOUR) or (others[0] if len(others) == 1 else None)
    return layer.name if layer else ""


def uv_name(item: bpy.types.Object, default: str = "UVMap") -> str:
    """The name of the object's active UV map."""
    layer = item.data.uv_layers.active
    return layer.name if layer else default


def own_colour_of(stage: Stage, item: bpy.types.Object, role: str) -> tuple[Any | None, str]:
    """The image of the own colour of a piece or stand (its albedo, once made), or else the name of its vertex colours."""
    image = stage.find("albedo", role)
    if image is None:
        own = base_picture(item)
        image = own.image if own else None
    return image, "" if image else own_attribute(item)


def maps_of(
    stage: Stage, item: bpy.types.Object, role: str, strength: float | None, *, displaced: bool = False,
    bands: tuple[float, float, float] = (1.0, 1.0, 1.0),
) -> Maps:  # fmt: skip
    """What the piece or stand brings to a material; a strength of None takes what the relief advises.

    bands: strengths of the fine, the middle and the broad relief.
    """
    normal, height = (stage.find(part, role) for part in ("relief_normal", "relief_height"))
    middle, broad = (stage.find(part, role) for part in ("relief_middle", "relief_broad"))
    image, attribute = own_colour_of(stage, item, role)
    advised = float(normal.get("strength", 1.0)) if normal else 1.0
    return Maps(
        normal=normal,
        height=height,
        strength=advised if strength is None else strength,
        colour=image,
        colour_attribute=attribute,
        uv=uv_name(item),
        displaced=displaced and height is not None,
        closeups=closeups_of(stage, item, role),
        bands=None if middle is None or broad is None else (middle, broad),
        band_strengths=bands,
        masked=RELIEF_MASK in item.data.color_attributes,
    )


def closeups_of(stage: Stage, item: bpy.types.Object, role: str) -> CloseupMaps | None:
    """The close-ups' maps of the piece, where there are some and the piece still has their UV layer."""
    normal, weight, colour = (stage.find(part, role) for part in ("closeup_normal", "closeup_weight", "closeup_colour"))
    if normal is None or weight is None or LAYER not in item.data.uv_layers:
        return None
    return CloseupMaps(normal, weight, colour, float(normal.get("strength", 1.0)))


def mean_colour(item: bpy.types.Object, maps: Maps) -> tuple[float, float, float] | None:
    """The own colour of the object, linear, the mean over its corners; None where it has none that can be read."""
    mesh = item.data
    if maps.colour is None:
        layer = mesh.attributes.get(maps.colour_attribute) if maps.colour_attribute else None
        if layer is None or not len(layer.data):
            return None
        values = np.zeros(4 * len(layer.data), np.float32)
        layer.data.foreach_get("color", values)  # linear, also of bytes
        return tuple(float(entry) for entry in values.reshape(-1, 4)[:, :3].mean(axis=0))  # type: ignore[return-value]
    layer = mesh.uv_layers.get(maps.uv) or mesh.uv_layers.active
    if layer is None or not len(layer.uv):
        return None
    try:
        pixels = read_pixels(maps.colour, limit=LARGEST)
    except ValueError:
        return None
    places = np.zeros(2 * len(layer.uv), np.float32)
    layer.uv.foreach_get("vector", places)
    column, row = (np.floor((places.reshape(-1, 2) % 1.0) * pixels.shape[1::-1]).astype(int)).T
    seen = pixels[np.minimum(row, pixels.shape[0] - 1), np.minimum(column, pixels.shape[1] - 1), :3]
    linear = seen if maps.colour.is_float else decode(seen)
    return tuple(float(entry) for entry in linear.mean(axis=0))  # type: ignore[return-value]
