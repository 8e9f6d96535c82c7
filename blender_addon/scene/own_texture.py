"""Which picture or vertex colours did the scan come with?

Looked up in the mesh's own materials: what the job puts on hangs on the object's slots, so that the scan's stay where they are.
"""

from __future__ import annotations

from typing import Any

from .importers import COLOUR
from .nodes.materials import Maps

BASE = "Base Color"


def own_image(item: Any) -> Any | None:
    """The image that feeds the base colour of the object's materials, the most used one first; None when there is none."""
    found: dict[str, tuple[int, Any]] = {}
    for material in item.data.materials:
        image = _of_material(material) if material else None
        if image is not None and image.size[0]:
            count, _ = found.get(image.name, (0, image))
            found[image.name] = (count + 1, image)
    return max(found.values(), key=lambda pair: pair[0])[1] if found else None


def own_attribute(item: Any) -> str:
    """The name of the scan's vertex colours, '' without any; masks that were painted for regions are other layers."""
    layers = item.data.color_attributes
    layer = layers.get(COLOUR) or (layers.active_color if len(layers) == 1 else None)
    return layer.name if layer else ""


def _of_material(material: Any) -> Any | None:
    tree = material.node_tree
    if tree is None:
        return None
    starts = [node.inputs[BASE] for node in tree.nodes if BASE in node.inputs]
    seen: set[str] = set()
    while starts:
        socket = starts.pop()
        for link in socket.links:
            node = link.from_node
            if node.name in seen:
                continue
            seen.add(node.name)
            image = getattr(node, "image", None)
            if image is not None:
                return image
            starts.extend(node.inputs)
    return None


def uv_name(item: Any, default: str = "UVMap") -> str:
    """The name of the object's active UV map."""
    layer = item.data.uv_layers.active
    return layer.name if layer else default


def own_colour_of(stage: Any, item: Any, role: str) -> tuple[Any | None, str]:
    """The image (delit where that was done) or else the vertex colours' name that piece or stand has of its own."""
    image = stage.find("albedo", role) or own_image(item)
    return image, "" if image else own_attribute(item)


def maps_of(stage: Any, item: Any, role: str, strength: float | None) -> Maps:
    """What the piece or stand brings to a material; a strength of None takes what the relief advises."""
    normal = stage.find("relief_normal", role)
    image, attribute = own_colour_of(stage, item, role)
    advised = float(normal.get("strength", 1.0)) if normal else 1.0
    return Maps(
        normal=normal,
        height=stage.find("relief_height", role),
        strength=advised if strength is None else strength,
        colour=image,
        colour_attribute=attribute,
        uv=uv_name(item),
    )
