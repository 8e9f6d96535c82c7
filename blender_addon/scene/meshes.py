"""Between `core.mesh.triangles.TriangleMesh` and Blender's meshes, through flat buffers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import bpy
import numpy as np

from ..core.arrays import Floats, Ints
from ..core.mesh.triangles import TriangleMesh

UV = "UVMap"


MM = 1000.0
"""Millimetres a metre: the scene is in metres, `core` in millimetres."""
METRES = 0.001
"""Metres a millimetre."""


def read_mesh(item: bpy.types.Object, *, scale: float = 1.0) -> TriangleMesh:
    """The triangles of a mesh object in its parent's space, times `scale` (1000 for mm where the scene is in metres).

    Only the turntable's pivot is ever a parent of what we made, and it rests at the origin.
    Polygons are triangulated as Blender's loop triangles; modifiers are not applied.
    """
    mesh = item.data
    vertices = (
        _read(mesh.attributes["position"].data, "vector", len(mesh.vertices), 3, np.float32)
        if mesh.vertices
        else (np.zeros((0, 3), np.float32))
    )
    matrix = np.array(item.matrix_basis, float)
    if not np.allclose(matrix, np.eye(4)):
        vertices = (vertices @ matrix[:3, :3].T + matrix[:3, 3]).astype(np.float32)
    corners, polygon = _triangulated(mesh)
    corner_vertex = _read(mesh.attributes[".corner_vert"].data, "value", len(mesh.loops), 1, np.int32)[:, 0]
    material = np.zeros(len(corners), np.int32)
    if "material_index" in mesh.attributes:
        material = _read(mesh.attributes["material_index"].data, "value", len(mesh.polygons), 1, np.int32)[polygon, 0]
    uv = None
    if mesh.uv_layers.active is not None:
        uv = _read(mesh.uv_layers.active.uv, "vector", len(mesh.loops), 2, np.float32)[corners]
    marks = {
        layer.name: _read(layer.data, "value", len(mesh.polygons), 1, bool)[polygon, 0]
        for layer in mesh.attributes
        if layer.domain == "FACE"
        and layer.data_type == "BOOLEAN"
        and not layer.name.startswith(".")
        and layer.name != "sharp_face"
    }
    colours = _colours(mesh, corner_vertex)
    return TriangleMesh(vertices * np.float32(scale), corner_vertex[corners], uv, material, colours, marks)


def _triangulated(mesh: Any) -> tuple[Ints, Ints]:
    """(n, 3) corners and (n,) polygons of the triangles that Blender makes of a mesh's polygons."""
    count = len(mesh.polygons)
    sides = _read(mesh.polygons, "loop_total", count, 1, np.int32)[:, 0]
    if (sides == 3).all():  # the polygons' corners lie one behind the other, in their order
        return np.arange(3 * count, dtype=np.int32).reshape(count, 3), np.arange(count, dtype=np.int32)
    mesh.calc_loop_triangles()
    triangles = len(mesh.loop_triangles)
    corners = _read(mesh.loop_triangles, "loops", triangles, 3, np.int32)
    return corners, _read(mesh.loop_triangles, "polygon_index", triangles, 1, np.int32)[:, 0]


def _colours(mesh: Any, corner_vertex: Ints) -> dict[str, Floats]:
    found = {}
    for layer in mesh.color_attributes:
        values = _read(layer.data, "color", len(layer.data), 4, np.float32)
        if layer.domain == "CORNER":
            total = np.zeros((len(mesh.vertices), 4))
            for channel in range(4):
                total[:, channel] = np.bincount(corner_vertex, values[:, channel], len(mesh.vertices))
            shared = np.bincount(corner_vertex, minlength=len(mesh.vertices))[:, None]
            values = (total / np.maximum(shared, 1)).astype(np.float32)
        found[layer.name] = values
    return found


def make_mesh(name: str, triangles: TriangleMesh, *, materials: Sequence[Any] = (), smooth: bool = True) -> bpy.types.Mesh:
    """A new Blender mesh from arrays, in the arrays' own unit (metres are wanted in the scene)."""
    mesh = bpy.data.meshes.new(name)
    count = len(triangles.faces)
    mesh.vertices.add(len(triangles.vertices))
    mesh.loops.add(3 * count)
    mesh.polygons.add(count)
    mesh.attributes["position"].data.foreach_set("vector", np.ascontiguousarray(triangles.vertices, np.float32).ravel())
    mesh.attributes[".corner_vert"].data.foreach_set("value", np.ascontiguousarray(triangles.faces, np.int32).ravel())
    mesh.polygons.foreach_set("loop_start", np.arange(0, 3 * count, 3, dtype=np.int32))
    if triangles.material is not None and np.any(triangles.material):
        numbers = mesh.attributes.new(name="material_index", type="INT", domain="FACE")
        numbers.data.foreach_set("value", np.ascontiguousarray(triangles.material, np.int32))
    if not smooth:  # a face is smooth where nothing says that it is not
        mesh.attributes.new(name="sharp_face", type="BOOLEAN", domain="FACE").data.foreach_set("value", np.ones(count, bool))
    if triangles.uv is not None:
        layer = mesh.uv_layers.new(name=UV)
        layer.uv.foreach_set("vector", np.ascontiguousarray(triangles.uv, np.float32).ravel())
    for title, values in triangles.colours.items():
        colours = mesh.color_attributes.new(name=title, type="FLOAT_COLOR", domain="POINT")
        colours.data.foreach_set("color", np.ascontiguousarray(values, np.float32).ravel())
    for title, marks in triangles.face_marks.items():
        flags = mesh.attributes.new(name=title, type="BOOLEAN", domain="FACE")
        flags.data.foreach_set("value", np.ascontiguousarray(marks, bool))
    for material in materials:
        mesh.materials.append(material)
    mesh.update(calc_edges=True)
    return mesh


def make_object(name: str, triangles: TriangleMesh, *, materials: Sequence[Any] = (), smooth: bool = True) -> bpy.types.Object:
    """A new object with a mesh from arrays, linked nowhere yet."""
    return bpy.data.objects.new(name, make_mesh(name, triangles, materials=materials, smooth=smooth))


def _read(collection: bpy.types.bpy_prop_collection, field: str, count: int, width: int, kind: Any) -> Any:
    values = np.zeros(count * width, kind)
    collection.foreach_get(field, values)
    return values.reshape(count, width)
