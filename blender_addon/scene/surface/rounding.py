"""Rounds the outline of a scan in renders: its triangles are subdivided at render time and the new points moved onto a curve.

Each triangle becomes a curved patch through its corners, determined by their positions and normals: Phong tessellation
(Boubekeur & Alexa, *Phong Tessellation*, SIGGRAPH Asia 2008). The scan's vertices stay in place and the shading keeps its
normals, so that the recovered relief lies on the surface on which it was measured, and no detail is added. Sharp edges, as at a
cut or a filled underside, are not rounded.

    P* = P + a (q - M P),   M = mean of n n^T,  q = mean of (n . v) n  over the corners v with normals n, by barycentric weights
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from typing import Any

import bpy
import numpy as np

from .. import compat
from ..meshes import MM
from ..nodes.builder import PlacedNode, Tree, make_group
from ..shots.lens_drivers import KIND

MODIFIER = "Rounded outline"
LEVELS = "Levels"
ROUNDNESS = 0.5
"""a: shift towards the tangent planes of the corners. With one half the middle of a sphere's edge is nearly on the sphere."""
ROUND, SHARP = 0.97, 0.88
"""Length of the mean of the unit normals round a vertex from which it is rounded fully, and below which not at all: for two
faces, these are angles of 28 and 57 degrees."""
FACET_PX = 6.0
"""Longest edge of the outline in px; shorter ones look round."""
MOST_LEVELS = 3
MOST_TRIANGLES = 3_000_000


def rounding_group() -> bpy.types.NodeTree:
    """The geometry-nodes group: Mesh and Levels in, Mesh out."""
    return make_group("Rounded outline", _rounding, tree_type="GeometryNodeTree")


def _rounding(tree: Tree) -> None:
    tree.prefix = "GeometryNode"
    mesh = tree.input("Mesh", "geometry")
    levels = tree.input(LEVELS, "integer", 0, low=0, high=6, help="How often each edge is halved when rendered")
    place, normal = tree.node("InputPosition")["Position"], tree.node("InputNormal")["Normal"]
    parts = tree.node("ShaderNodeSeparateXYZ", {"Vector": normal})
    offset = tree.vector("SCALE", normal, scale=tree.vector("DOT_PRODUCT", place, normal))
    face = tree.node("FieldOnDomain", {}, domain="FACE", data_type="FLOAT_VECTOR")
    tree.put(face.node.inputs["Value"], normal)
    even = tree.vector("LENGTH", face["Value"])
    kept = {
        "normal": normal, "across x": tree.vector("SCALE", normal, scale=parts["X"]),
        "across y": tree.vector("SCALE", normal, scale=parts["Y"]), "across z": tree.vector("SCALE", normal, scale=parts["Z"]),
        "offset": offset, "even": even,
    }  # fmt: skip
    captured = _captured(tree, mesh, kept)
    fine = tree.node("SubdivideMesh", {"Mesh": captured["Geometry"], "Level": levels})["Mesh"]
    here = tree.node("ShaderNodeSeparateXYZ", {"Vector": place})
    total = captured["offset"]
    for axis in "xyz":
        total = tree.vector("SUBTRACT", total, tree.vector("SCALE", captured[f"across {axis}"], scale=here[axis.upper()]))
    share = tree.math("MULTIPLY", tree.span(captured["even"], SHARP, ROUND), ROUNDNESS)
    moved = tree.node("SetPosition", {"Geometry": fine, "Offset": tree.vector("SCALE", total, scale=share)})
    shaded = tree.node("SetMeshNormal", {"Mesh": moved["Geometry"]}, mode="FREE", domain="POINT")
    tree.put(shaded.node.inputs["Custom Normal"], tree.vector("NORMALIZE", captured["normal"]))
    tree.output("Mesh", "geometry", shaded["Mesh"])


def _captured(tree: Tree, mesh: Any, values: dict[str, Any]) -> PlacedNode:
    """Capture fields on the vertices, so that they are interpolated to the new vertices of the subdivided mesh."""
    node = tree.tree.nodes.new("GeometryNodeCaptureAttribute")
    node.domain = "POINT"
    for name, value in values.items():
        node.capture_items.new("FLOAT" if name == "even" else "VECTOR", name)
        tree.put(node.inputs[name], value)
    tree.put(node.inputs["Geometry"], mesh)
    return PlacedNode(node)


def round_outline(item: bpy.types.Object) -> None:
    """Add the modifier to an object as the first one, with level 0; it is active only in renders, not in the viewport."""
    modifier = item.modifiers.get(MODIFIER) or item.modifiers.new(MODIFIER, "NODES")
    modifier.node_group = rounding_group()
    modifier.show_viewport = False
    item.modifiers.move(list(item.modifiers).index(modifier), 0)
    set_levels(item, 0)


def set_levels(item: bpy.types.Object, levels: int) -> None:
    """Set how often each edge of an object with the modifier is halved."""
    modifier = item.modifiers[MODIFIER]
    sockets = modifier.node_group.interface.items_tree
    compat.set_modifier_input(modifier, next(socket for socket in sockets if socket.name == LEVELS), levels)
    modifier.show_render = levels > 0
    item.update_tag()


def levels_for(item: bpy.types.Object, pixel_m: float) -> int:
    """How often edges must be halved so that 95 % are no longer than `FACET_PX` pixels of `pixel_m` metres."""
    mesh = item.data
    if not len(mesh.edges):
        return 0
    points, ends = np.zeros(3 * len(mesh.vertices), np.float32), np.zeros(2 * len(mesh.edges), np.int32)
    mesh.vertices.foreach_get("co", points)
    mesh.edges.foreach_get("vertices", ends)
    points, ends = points.reshape(-1, 3), ends.reshape(-1, 2)
    length = float(np.percentile(np.linalg.norm(points[ends[:, 1]] - points[ends[:, 0]], axis=1), 95))
    wanted = int(np.ceil(np.log2(max(length / max(FACET_PX * pixel_m, 1e-12), 1.0))))
    allowed = int(np.log2(max(MOST_TRIANGLES / max(len(mesh.polygons), 1), 1.0)) / 2)
    return max(0, min(wanted, MOST_LEVELS, allowed))


@contextlib.contextmanager
def rounded(items: list[bpy.types.Object], shot: bpy.types.Object, size: tuple[int, int]) -> Iterator[None]:
    """Inside the block, subdivide objects with the modifier as a picture of that size (px) of a shot requires."""
    field_mm = shot.get("bozzetto_field_width_mm")
    chosen = [item.name for item in items if MODIFIER in item.modifiers and field_mm and shot.get(KIND)]
    try:
        for name in chosen:
            set_levels(bpy.data.objects[name], levels_for(bpy.data.objects[name], field_mm / MM / size[0]))
        yield
    finally:
        for name in chosen:
            set_levels(bpy.data.objects[name], 0)
