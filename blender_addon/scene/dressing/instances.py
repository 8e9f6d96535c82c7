"""Many small objects as one: a mesh of points on which geometry nodes instance the shapes of a library.

Point attributes: the shape's number (`shape`), its rotation (`turn`, XYZ Euler angles), its scale (`size`), and a number from 0
to 1 that materials read from the instance (`tint`).
"""

from __future__ import annotations

from collections.abc import Sequence

import bpy
import numpy as np

from ...core.arrays import Floats, Ints
from ...core.mesh.topology import joined
from ...core.mesh.triangles import TriangleMesh
from .. import compat
from ..meshes import make_object
from ..nodes.builder import Socket, Tree, make_group

SHAPE, TURN, SIZE, TINT = "shape", "turn", "size", "tint"


def make_library(
    name: str, shapes: Sequence[TriangleMesh], materials: Sequence[bpy.types.Material], *, sharp: bool = False
) -> bpy.types.Object:
    """One hidden object with all shapes (in metres), distinguished by the integer face attribute `shape`.

    sharp: flat faces instead of smooth ones.
    """
    item = make_object(name, joined(shapes), materials=materials, smooth=not sharp)
    layer = item.data.attributes.new(SHAPE, "INT", "FACE")
    layer.data.foreach_set("value", np.repeat(np.arange(len(shapes), dtype=np.int32), [len(shape.faces) for shape in shapes]))
    item.hide_render = item.hide_viewport = True
    return item


def make_points(
    name: str, places: Floats, shapes: Ints, turns: Floats, sizes: Floats, tints: Floats, library: bpy.types.Object
) -> bpy.types.Object:
    """An object of points at places (n, 3), m, that instances `library`'s shapes (n,); turns (n, 3, 3), sizes, tints (n,)."""
    mesh = bpy.data.meshes.new(name)
    mesh.vertices.add(len(places))
    if len(places):
        mesh.attributes["position"].data.foreach_set("vector", np.ascontiguousarray(places, np.float32).ravel())
    for title, kind, field, values in (
        (SHAPE, "INT", "value", np.asarray(shapes, np.int32)),
        (TURN, "FLOAT_VECTOR", "vector", euler_angles(np.asarray(turns)).astype(np.float32)),
        (SIZE, "FLOAT", "value", np.asarray(sizes, np.float32)),
        (TINT, "FLOAT", "value", np.asarray(tints, np.float32)),
    ):
        layer = mesh.attributes.new(title, kind, "POINT")
        if len(places):
            layer.data.foreach_set(field, np.ascontiguousarray(values).ravel())
    item = bpy.data.objects.new(name, mesh)
    group = instancing_group()
    modifier = item.modifiers.new("Pieces", "NODES")
    modifier.node_group = group
    sockets = [socket for socket in group.interface.items_tree if socket.item_type == "SOCKET" and socket.name == "Library"]
    compat.set_modifier_input(modifier, sockets[0], library)
    return item


def euler_angles(turns: Floats) -> Floats:
    """(n, 3) XYZ Euler angles of rotation matrices (n, 3, 3), R = Rz Ry Rx."""
    if not len(turns):
        return np.zeros((0, 3))
    y = np.arcsin(np.clip(-turns[:, 2, 0], -1.0, 1.0))
    x = np.arctan2(turns[:, 2, 1], turns[:, 2, 2])
    z = np.arctan2(turns[:, 1, 0], turns[:, 0, 0])
    locked = np.abs(turns[:, 2, 0]) > 1 - 1e-9  # gimbal lock: only the sum of x and z is known
    z = np.where(locked, np.arctan2(-turns[:, 0, 1], turns[:, 1, 1]), z)
    return np.stack([np.where(locked, 0.0, x), y, z], axis=1)


def instancing_group() -> bpy.types.NodeTree:
    """The geometry-nodes group that instances the library's shapes on the points."""
    return make_group("Pieces on points", _build, tree_type="GeometryNodeTree")


def _build(tree: Tree) -> None:
    tree.prefix = "GeometryNode"
    interface = tree.tree.interface
    interface.new_socket("Geometry", in_out="INPUT", socket_type="NodeSocketGeometry")
    interface.new_socket("Library", in_out="INPUT", socket_type="NodeSocketObject")
    interface.new_socket("Geometry", in_out="OUTPUT", socket_type="NodeSocketGeometry")
    given, taken = tree.tree.nodes.new("NodeGroupInput"), tree.tree.nodes.new("NodeGroupOutput")
    source = tree.node("ObjectInfo", {"Object": given.outputs["Library"]}, transform_space="ORIGINAL")
    split = tree.node(
        "SplitToInstances", {"Geometry": source["Geometry"], "Group ID": _named(tree, SHAPE, "INT")}, domain="FACE"
    )
    turned = tree.node("FunctionNodeEulerToRotation", {"Euler": _named(tree, TURN, "FLOAT_VECTOR")})
    worn = tree.node(
        "InstanceOnPoints",
        {
            "Points": given.outputs["Geometry"], "Instance": split["Instances"], "Pick Instance": True,
            "Instance Index": _named(tree, SHAPE, "INT"), "Rotation": turned["Rotation"], "Scale": _named(tree, SIZE, "FLOAT"),
        },
    )  # fmt: skip
    tree.put(taken.inputs["Geometry"], worn["Instances"])


def _named(tree: Tree, name: str, kind: str) -> Socket:
    return tree.node("InputNamedAttribute", {"Name": name}, data_type=kind)["Attribute"]
