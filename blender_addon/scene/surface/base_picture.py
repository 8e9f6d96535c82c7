"""Which picture colours a scan? The only place that answers this, for a material and for a whole object.

It looks at the mesh's materials, which stay the scan's: the job assigns its materials to the object's slots.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from ...core.arrays import Bools
from ...core.mesh.triangles import TriangleMesh, face_areas
from ...core.records import record
from ..meshes import read_mesh

if TYPE_CHECKING:
    import bpy

DEPTH = 8
"""How many nodes are followed from a socket to an image."""
SOCKETS = {
    "base": (
        ("ShaderNodeBsdfPrincipled", "Base Color"), ("ShaderNodeBsdfDiffuse", "Color"),
        ("ShaderNodeBsdfPrincipled", "Emission Color"), ("ShaderNodeEmission", "Color"), ("ShaderNodeBackground", "Color"),
    ),
    "normal": (("ShaderNodeBsdfPrincipled", "Normal"),),
    "roughness": (("ShaderNodeBsdfPrincipled", "Roughness"),),
    "metallic": (("ShaderNodeBsdfPrincipled", "Metallic"),),
    "opacity": (("ShaderNodeBsdfPrincipled", "Alpha"),),
}  # fmt: skip
"""Part of a surface to the sockets that may show it, of which the first with a picture counts. Unlit scans have their colour in
the emission."""


@record
class BasePicture:
    """The picture that colours most of an object, or that is another part of most of it.

    image: the bpy image. slot: a material slot with it. share: share of the object's area with it, 0 to 1.
    """

    image: bpy.types.Image
    slot: int
    share: float


def picture_of(material: bpy.types.Material | None, part: str = "base") -> bpy.types.Image | None:
    """The image of a part of a material, or None.

    part: 'base', 'normal', 'roughness', 'metallic', 'opacity'; in materials by `scan_material` also 'occlusion'.
    """
    tree = material.node_tree if material is not None else None
    if tree is None:
        return None
    for socket in sockets_of(material, part):
        found = image_behind(socket)
        if found is not None:
            return found
    own = tree.nodes.get(part)
    return own.image if own is not None and own.bl_idname == "ShaderNodeTexImage" else None


def sockets_of(material: bpy.types.Material | None, part: str) -> Iterator[bpy.types.NodeSocket]:
    """The sockets of a material's nodes that show that part, those that count first."""
    tree = material.node_tree if material is not None else None
    nodes = [] if tree is None else list(tree.nodes)
    for kind, name in SOCKETS.get(part, ()):
        yield from (node.inputs[name] for node in nodes if node.bl_idname == kind)
    if part == "base":  # unlit scans as some importers make them
        yield from (node.inputs[1] for node in nodes if node.bl_idname == "ShaderNodeMixShader")


def plain_colour(material: bpy.types.Material | None) -> tuple[float, float, float]:
    """The linear base colour of a material without a picture; mid-grey where it has none."""
    tree = material.node_tree if material is not None else None
    for node in tree.nodes if tree is not None else ():
        if node.bl_idname == "ShaderNodeBsdfPrincipled":
            red, green, blue = node.inputs["Base Color"].default_value[:3]
            return float(red), float(green), float(blue)
    return (0.5, 0.5, 0.5)


def image_behind(socket: bpy.types.NodeSocket) -> bpy.types.Image | None:
    """The first image linked to a socket, directly or through up to `DEPTH` nodes."""
    node = node_behind(socket)
    return None if node is None else node.image


def node_behind(socket: bpy.types.NodeSocket, depth: int = DEPTH) -> bpy.types.Node | None:
    """The node of the first image linked to a socket, directly or through up to `depth` nodes."""
    for link in socket.links:
        node = link.from_node
        if node.bl_idname == "ShaderNodeTexImage" and node.image is not None:
            return node
        if depth:
            for inner in node.inputs:
                found = node_behind(inner, depth - 1)
                if found is not None:
                    return found
    return None


def base_picture(item: bpy.types.Object, triangles: TriangleMesh | None = None, *, part: str = "base") -> BasePicture | None:
    """The picture on the largest part of an object's surface, or None where no material has one.

    Slots with the same image count together. triangles: the object's mesh in any unit, if already read. part: as `picture_of`
    has it.
    """
    triangles = read_mesh(item) if triangles is None else triangles
    materials = item.data.materials
    if not len(triangles.faces):
        return None
    areas = face_areas(triangles.vertices.astype(float), triangles.faces)
    slots = triangles.material if triangles.material is not None else np.zeros(len(areas), int)
    by_slot = np.bincount(np.clip(slots, 0, max(len(materials) - 1, 0)), areas, max(len(materials), 1))
    totals: dict[str, tuple[float, int, bpy.types.Image]] = {}
    for place, material in enumerate(materials):
        image = picture_of(material, part)
        if image is None or not image.size[0] or not image.size[1]:
            continue
        area, first, _ = totals.get(image.name, (0.0, place, image))
        totals[image.name] = (area + float(by_slot[place]), first, image)
    if not totals:
        return None
    area, slot, image = max(totals.values(), key=lambda entry: entry[0])
    return BasePicture(image, slot, area / max(float(areas.sum()), 1e-12))


def faces_showing(item: bpy.types.Object, triangles: TriangleMesh, image: bpy.types.Image, *, part: str = "base") -> Bools:
    """(m,) bool: the faces whose material has the image as that part."""
    slots = triangles.material if triangles.material is not None else np.zeros(len(triangles.faces), int)
    shown = [picture_of(material, part) for material in item.data.materials] or [None]
    found = np.array([entry is not None and entry.name == image.name for entry in shown])
    return found[np.clip(slots, 0, len(found) - 1)]
