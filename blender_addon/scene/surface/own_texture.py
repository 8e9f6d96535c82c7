"""Which picture or vertex colours did the scan come with, and which maps does a material of it get?

It looks at the mesh's materials, which stay the scan's: the job assigns its materials to the object's slots.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...core.rasters import repeated_pixel
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
    """The name of the scan's vertex colours, '' without any; painted masks are other colour attributes."""
    layers = item.data.color_attributes
    others = [layer for layer in layers if layer.name != RELIEF_MASK]
    layer = layers.get(COLOUR) or (others[0] if len(others) == 1 else None)
    return layer.name if layer else ""


def uv_name(item: bpy.types.Object, default: str = "UVMap") -> str:
    """The name of the object's active UV map."""
    layer = item.data.uv_layers.active
    return layer.name if layer else default


def own_colour_of(stage: Stage, item: bpy.types.Object, role: str) -> tuple[bpy.types.Image | None, str]:
    """The image of a piece's or stand's own colour (its albedo, once made), or None and the name of its vertex colours."""
    image = stage.find("albedo", role)
    if image is None:
        own = base_picture(item)
        image = own.image if own else None
    return image, "" if image else own_attribute(item)


def maps_of(
    stage: Stage, item: bpy.types.Object, role: str, strength: float | None, *,
    bands: tuple[float, float, float] = (1.0, 1.0, 1.0),
) -> Maps:  # fmt: skip
    """The maps of a piece or stand for a material.

    strength: of the relief, None for the advised one. bands: strengths of the fine, the middle and the broad relief.
    role: 'piece' or 'stand'.
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
        closeups=closeups_of(stage, item, role),
        bands=None if middle is None or broad is None else (middle, broad),
        band_strengths=bands,
        masked=RELIEF_MASK in item.data.color_attributes,
    )


def closeups_of(stage: Stage, item: bpy.types.Object, role: str) -> CloseupMaps | None:
    """The maps of the piece's close-up photos; None where there are none or the piece has lost their UV layer."""
    normal, weight, colour = (stage.find(part, role) for part in ("closeup_normal", "closeup_weight", "closeup_colour"))
    if normal is None or weight is None or LAYER not in item.data.uv_layers:
        return None
    return CloseupMaps(normal, weight, colour, float(normal.get("strength", 1.0)))


def mean_colour(item: bpy.types.Object, maps: Maps) -> tuple[float, float, float] | None:
    """The mean over the corners of the object's own colour, linear; None where it has none that can be read."""
    mesh = item.data
    if maps.colour is None:
        layer = mesh.attributes.get(maps.colour_attribute) if maps.colour_attribute else None
        if layer is None or not len(layer.data):
            return None
        values = np.zeros(4 * len(layer.data), np.float32)
        layer.data.foreach_get("color", values)  # linear values, also of byte colours
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
    row, column = repeated_pixel(places.reshape(-1, 2), pixels.shape)
    seen = pixels[row, column, :3]
    linear = seen if maps.colour.is_float else decode(seen)
    return tuple(float(entry) for entry in linear.mean(axis=0))  # type: ignore[return-value]
