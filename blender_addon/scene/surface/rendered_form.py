"""The surface of a scan in renders: triangles are subdivided at render time, the outline rounded and the relief raised.

Rounding: each triangle becomes a curved patch through its corners, determined by their positions and normals: Phong
tessellation (Boubekeur & Alexa, *Phong Tessellation*, SIGGRAPH Asia 2008). The scan's vertices stay in place. Sharp edges, as
at a cut or a filled underside, are not rounded.

    P* = P + a (q - M P),   M = mean of n n^T,  q = mean of (n . v) n  over the corners v with normals n, by barycentric weights

Relief: the points are then displaced along their normals by the recovered height, so that a groove lies in the shadow of its
own edge and hides what is behind it. Shading keeps the scan's normals, and the normal map, which resolves finer relief than the
triangles do, tilts them as before: the relief is not counted twice.
"""

from __future__ import annotations

import contextlib
from collections.abc import Iterator
from functools import partial

import bpy
import numpy as np

from .. import compat
from ..meshes import MM
from ..nodes.builder import PlacedNode, Socket, Tree, Value, make_group
from ..nodes.materials import relief_nodes
from ..nodes.relief import RELIEF_MASK, UV_DEFAULT
from ..shots.lens_drivers import KIND

MODIFIER = "Rendered form"
FORMER = ("Rounded outline", "Finer for relief")
"""Names of the modifiers that version 0.1.0 used instead."""
LEVELS, RELIEF = "Levels", "Relief"
ROUNDNESS = 0.5
"""a: shift towards the tangent planes of the corners. With one half the middle of a sphere's edge is nearly on the sphere."""
ROUND, SHARP = 0.97, 0.88
"""Length of the mean of the unit normals round a vertex from which it is rounded fully, and below which not at all: for two
faces, these are angles of 28 and 57 degrees."""
FACET_PX = 6.0
"""Longest edge of the outline in px; shorter ones look round."""
RELIEF_PX = 3.0
"""Longest edge in px where relief is raised. With the true heights of the demo's owl, edges of
3 px give 0.89 to 0.98 of the energy of the true picture in its three bands (`bench likeness`)."""
FINEST_MM = 0.1
"""Edges are not made shorter than this: the map of heights has no wavelengths below 0.2 mm; a finer normal map tilts alone."""
SHARES = {"Fine": 0.42, "Middle": 0.50, "Broad": 0.08}
"""What each band contributes to the variance of the height, on the demo's owl. There is one height map, so the displacement
follows the strengths of the bands only in their mean, while the normal map follows each."""
MOST_LEVELS = 3
"""Subdivisions at most, each of which makes four triangles of one."""
MOST_TRIANGLES = 3_000_000
"""Triangles in a render at most, to bound memory."""


def form_group(height: bpy.types.Image | None, uv: str) -> bpy.types.NodeTree:
    """The geometry-nodes group: Mesh, Levels and Relief (strength of the displacement) in, Mesh out.

    height: map of the relief's height in mm, in the UV layer `uv`; None where there is none.
    """
    return make_group("Rendered form", partial(_form, height=height, uv=uv), tree_type="GeometryNodeTree")


def _form(tree: Tree, *, height: bpy.types.Image | None, uv: str) -> None:
    tree.prefix = "GeometryNode"
    mesh = tree.input("Mesh", "geometry")
    levels = tree.input(LEVELS, "integer", 0, low=0, high=6, help="How often each edge is halved when rendered")
    strength = tree.input(
        RELIEF, "float", 0.0, low=0.0, high=4.0, help="Strength of the displacement by the relief: 0 none, 1 as measured"
    )
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
    outward = tree.vector("NORMALIZE", captured["normal"])
    moved = tree.vector("SCALE", total, scale=share)
    if height is not None:
        raised = tree.math("MULTIPLY", _height(tree, height, uv), tree.math("MULTIPLY", strength, 1.0 / MM))
        moved = tree.vector("ADD", moved, tree.vector("SCALE", outward, scale=raised))
    shaped = tree.node("SetPosition", {"Geometry": fine, "Offset": moved})
    shaded = tree.node("SetMeshNormal", {"Mesh": shaped["Geometry"]}, mode="FREE", domain="POINT")
    tree.put(shaded.node.inputs["Custom Normal"], outward)
    tree.output("Mesh", "geometry", shaded["Mesh"])


def _height(tree: Tree, height: bpy.types.Image, uv: str) -> Socket:
    """Height of the relief in mm, multiplied by the painted mask. Sampled at face corners and averaged to vertices, because a
    vertex on a UV seam has several UV coordinates."""
    coordinates = tree.node("InputNamedAttribute", {"Name": uv}, data_type="FLOAT_VECTOR")["Attribute"]
    picture = tree.node("ImageTexture", {"Vector": coordinates}, interpolation="Linear")
    picture.node.inputs["Image"].default_value = height
    corner = tree.node("FieldOnDomain", {}, domain="CORNER", data_type="FLOAT_VECTOR")
    tree.put(corner.node.inputs["Value"], picture["Color"])
    depth = tree.node("ShaderNodeSeparateXYZ", {"Vector": corner["Value"]})["X"]
    mask = tree.node("InputNamedAttribute", {"Name": RELIEF_MASK}, data_type="FLOAT_VECTOR")
    painted = tree.math("MULTIPLY", tree.node("ShaderNodeSeparateXYZ", {"Vector": mask["Attribute"]})["X"], 2.0)
    share: Value = tree.math("ADD", 1.0, tree.math("MULTIPLY", mask["Exists"], tree.math("SUBTRACT", painted, 1.0)))
    return tree.math("MULTIPLY", depth, share)


def _captured(tree: Tree, mesh: Socket, values: dict[str, Socket]) -> PlacedNode:
    """Capture fields on the vertices, so that they are interpolated to the new vertices of the subdivided mesh."""
    node = tree.tree.nodes.new("GeometryNodeCaptureAttribute")
    node.domain = "POINT"
    for name, value in values.items():
        node.capture_items.new("FLOAT" if name == "even" else "VECTOR", name)
        tree.put(node.inputs[name], value)
    tree.put(node.inputs["Geometry"], mesh)
    return PlacedNode(node)


def give_form(item: bpy.types.Object, height: bpy.types.Image | None = None, uv: str = UV_DEFAULT) -> None:
    """Add the modifier to an object as the first one, with level 0; it is active only in renders, not in the viewport.

    height, uv: as `form_group` takes them.
    """
    for name in FORMER:
        if name in item.modifiers:
            item.modifiers.remove(item.modifiers[name])
    modifier = item.modifiers.get(MODIFIER) or item.modifiers.new(MODIFIER, "NODES")
    modifier.node_group = form_group(height, uv)
    modifier.show_viewport = False
    item.modifiers.move(list(item.modifiers).index(modifier), 0)
    set_form(item, 0, 0.0)


def form_of(item: bpy.types.Object) -> bpy.types.Modifier | None:
    """The object's modifier, or the one of version 0.1.0, which only rounds."""
    return item.modifiers.get(MODIFIER) or item.modifiers.get(FORMER[0])


def set_form(item: bpy.types.Object, levels: int, relief: float) -> None:
    """Set how often each edge of an object with the modifier is halved, and the strength of the displacement."""
    modifier = form_of(item)
    for socket in modifier.node_group.interface.items_tree:
        if socket.name in (LEVELS, RELIEF):
            compat.set_modifier_input(modifier, socket, levels if socket.name == LEVELS else relief)
    modifier.show_render = levels > 0
    item.update_tag()


def raised_by(item: bpy.types.Object) -> float:
    """Strength of the displacement of an object in renders: that of its material's relief; 0 where it has no height map."""
    modifier = form_of(item)
    group = modifier.node_group if modifier else None
    if group is None or not any(node.bl_idname == "GeometryNodeImageTexture" for node in group.nodes):
        return 0.0
    worn = [slot.material for slot in item.material_slots if slot.material and slot.material.node_tree]
    shown = [node for material in worn for node in relief_nodes(material.node_tree)]
    return max((_strength(node) for node in shown), default=0.0)


def _strength(node: bpy.types.Node) -> float:
    """Strength of a relief node, times the mean of its bands' strengths by `SHARES` where it has bands."""
    bands = {name: node.inputs[name].default_value for name in SHARES if name in node.inputs}
    mean = sum(SHARES[name] * value for name, value in bands.items()) if bands else 1.0
    return float(node.inputs["Strength"].default_value) * mean


def levels_for(item: bpy.types.Object, pixel_m: float, *, raised: bool = False) -> int:
    """How often edges must be halved so that 95 % are short enough in a picture with pixels of `pixel_m` metres.

    raised: whether the relief displaces the surface, which needs shorter edges than the outline.
    """
    mesh = item.data
    if not len(mesh.edges):
        return 0
    points, ends = np.zeros(3 * len(mesh.vertices), np.float32), np.zeros(2 * len(mesh.edges), np.int32)
    mesh.vertices.foreach_get("co", points)
    mesh.edges.foreach_get("vertices", ends)
    points, ends = points.reshape(-1, 3), ends.reshape(-1, 2)
    length = float(np.percentile(np.linalg.norm(points[ends[:, 1]] - points[ends[:, 0]], axis=1), 95))
    asked = max(RELIEF_PX * pixel_m, FINEST_MM / MM) if raised else FACET_PX * pixel_m
    wanted = int(np.ceil(np.log2(max(length / max(asked, 1e-12), 1.0))))
    allowed = int(np.log2(max(MOST_TRIANGLES / max(len(mesh.polygons), 1), 1.0)) / 2)
    return max(0, min(wanted, MOST_LEVELS, allowed))


@contextlib.contextmanager
def rendered_form(items: list[bpy.types.Object], shot: bpy.types.Object, size: tuple[int, int]) -> Iterator[None]:
    """Inside the block, subdivide and displace objects with the modifier as a picture of that size (px) of a shot requires."""
    field_mm = shot.get("bozzetto_field_width_mm")
    chosen = [item.name for item in items if form_of(item) and field_mm and shot.get(KIND)]
    try:
        for item in map(bpy.data.objects.get, chosen):
            relief = raised_by(item)
            set_form(item, levels_for(item, field_mm / MM / size[0], raised=relief > 0), relief)
        yield
    finally:
        for name in chosen:
            set_form(bpy.data.objects[name], 0, 0.0)
