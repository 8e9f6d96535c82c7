"""Which picture colours a surface? The image, the vertex colours or nothing behind an object's materials."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from ...core.mesh.triangles import face_areas
from ...core.srgb import decode, luminance
from ..images import LARGEST, read_pixels


@dataclass(frozen=True)
class SurfaceTexture:
    """The picture that colours most of a surface.

    image: name of the image. slot: material slot it belongs to. share: part 0 to 1 of the object's area that shows it.
    size: (width, height) as stored.
    """

    image: str
    slot: int
    share: float
    size: tuple[int, int]


def base_colour_image(material: Any) -> Any | None:
    """The image that reaches the base colour of a material's Principled or Diffuse node, through any nodes between."""
    if material is None or not material.node_tree:
        return None
    nodes = material.node_tree.nodes
    for kind, socket in (("BSDF_PRINCIPLED", "Base Color"), ("BSDF_DIFFUSE", "Color"), ("EMISSION", "Color")):
        for node in nodes:
            if node.type == kind:
                found = _image_behind(node.inputs[socket], 8)
                if found is not None:
                    return found
    return None


def _image_behind(socket: Any, depth: int) -> Any | None:
    for link in socket.links:
        node = link.from_node
        if node.type == "TEX_IMAGE" and node.image is not None:
            return node.image
        if depth:
            for behind in node.inputs:
                found = _image_behind(behind, depth - 1)
                if found is not None:
                    return found
    return None


def normal_image(material: Any) -> Any | None:
    """The image that reaches the normal of a material's Principled node, or None."""
    if material is None or not material.node_tree:
        return None
    for node in material.node_tree.nodes:
        if node.type == "BSDF_PRINCIPLED":
            return _image_behind(node.inputs["Normal"], 8)
    return None


def surface_texture(item: Any, triangles: Any) -> SurfaceTexture | None:
    """The image on the largest textured part of a scan, or None without images or UVs.

    `triangles` is the object's `TriangleMesh`. Several slots that show one image count together. The mesh's own materials are
    asked: what the job has put on hangs on the object's slots, and shows no photo.
    """
    if triangles.uv is None or not len(triangles.faces):
        return None
    areas = face_areas(triangles.vertices, triangles.faces)
    slots = triangles.material if triangles.material is not None else np.zeros(len(areas), int)
    materials = item.data.materials
    by_slot = np.bincount(np.maximum(slots, 0), areas, max(len(materials), 1))
    totals: dict[str, tuple[float, int]] = {}
    for place, material in enumerate(materials):
        image = base_colour_image(material)
        if image is None or not image.size[0] or not image.size[1]:
            continue
        before = totals.get(image.name, (0.0, place))
        totals[image.name] = (before[0] + float(by_slot[place]), before[1])
    if not totals:
        return None
    name, (area, place) = max(totals.items(), key=lambda entry: entry[1][0])
    image = bpy.data.images[name]
    return SurfaceTexture(name, place, area / max(float(areas.sum()), 1e-12), (image.size[0], image.size[1]))


def shows(item: Any, triangles: Any, image: str) -> Any:
    """(m,) bool: the faces whose own material shows the image of that name."""
    slots = triangles.material if triangles.material is not None else np.zeros(len(triangles.faces), int)
    found = [_named(base_colour_image(material)) == image for material in item.data.materials] or [False]
    return np.array(found)[np.clip(slots, 0, len(found) - 1)]


def _named(image: Any) -> str:
    return image.name if image is not None else ""


def read_linear(image: Any, *, limit: int = LARGEST) -> Any:
    """(height, width, 3) float32 linear colours of an image, reduced where a side passes `limit`.

    Byte images in an sRGB-like space are decoded; float images and Non-Color ones are taken as they are.
    """
    linear = image.is_float or image.colorspace_settings.name == "Non-Color"  # asked first: it loads what reading may release
    pixels = read_pixels(image, limit=limit)[..., :3]
    if linear:
        return np.ascontiguousarray(pixels)
    return decode(pixels)


def colour_layer(triangles: Any) -> str | None:
    """The name of the vertex colours that look most like a photo texture: those that vary most, None when none vary."""
    best, spread = None, 1e-4
    for name, values in triangles.colours.items():
        varied = float(np.std(luminance(values)))
        if np.isfinite(varied) and varied > spread:
            best, spread = name, varied
    return best
