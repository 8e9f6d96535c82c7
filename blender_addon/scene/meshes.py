"""Converts between `core.mesh.triangles.TriangleMesh` and Blender's meshes, through flat buffers."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import bpy
import numpy as np

from ..core.arrays import AnyArray, Floats, Ints
from ..core.mesh.triangles import TriangleMesh

UV = "UVMap"


MM = 1000.0
"""Millimetres per metre: the scene is in metres, `core` in millimetres."""
METRES = 0.001
"""Metres per millimetre."""


def read_mesh(item: bpy.types.Object, *, scale: float = 1.0) -> TriangleMesh:
    """The triangles of a mesh object in its parent's space, times `scale` (1000 for mm where the scene is in metres).

    The only parent that the job ever gives an object is the turntable's pivot, which rests at the origin.
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
    corners, polygon = (None, None) if is_triangles(mesh) else _triangulated(mesh)
    corner_vertex = _read(mesh.attributes[".corner_vert"].data, "value", len(mesh.loops), 1, np.int32)[:, 0]
    faces = corner_vertex.reshape(-1, 3) if corners is None else corner_vertex[corners]
    material = np.zeros(len(faces), np.int32)
    if "material_index" in mesh.attributes:
        material = _of_triangles(
            _read(mesh.attributes["material_index"].data, "value", len(mesh.polygons), 1, np.int32), polygon
        )
    uv = None if mesh.uv_layers.active is None else _uv(mesh, mesh.uv_layers.active, corners)
    marks = {
        layer.name: _of_triangles(_read(layer.data, "value", len(mesh.polygons), 1, bool), polygon)
        for layer in mesh.attributes
        if layer.domain == "FACE"
        and layer.data_type == "BOOLEAN"
        and not layer.name.startswith(".")
        and layer.name != "sharp_face"
    }
    colours = _colours(mesh, corner_vertex)
    return TriangleMesh(vertices if scale == 1.0 else vertices * np.float32(scale), faces, uv, material, colours, marks)


def read_uv(item: bpy.types.Object, layer: str) -> Floats:
    """(n, 3, 2) the UVs of that name of an object's triangles, which are those of `read_mesh`."""
    mesh = item.data
    return _uv(mesh, mesh.uv_layers[layer], None if is_triangles(mesh) else _triangulated(mesh)[0])


def _uv(mesh: bpy.types.Mesh, layer: bpy.types.MeshUVLoopLayer, corners: Ints | None) -> Floats:
    uv = _read(layer.uv, "vector", len(mesh.loops), 2, np.float32)
    return uv.reshape(-1, 3, 2) if corners is None else uv[corners]


def is_triangles(mesh: bpy.types.Mesh) -> bool:
    """Whether all polygons of a mesh are triangles, so that its corners are stored three per polygon, in polygon order.

    No polygon has fewer than three corners, so it is enough to count them.
    """
    return len(mesh.loops) == 3 * len(mesh.polygons)


def _of_triangles(values: AnyArray, polygon: Ints | None) -> AnyArray:
    """(n,) values per triangle from values per polygon; polygon: (n,) polygon of each triangle, None where equal."""
    return values[:, 0] if polygon is None else values[polygon, 0]


def _triangulated(mesh: bpy.types.Mesh) -> tuple[Ints, Ints]:
    """(n, 3) corners and (n,) polygons of the triangles that Blender makes of a mesh's polygons."""
    mesh.calc_loop_triangles()
    triangles = len(mesh.loop_triangles)
    corners = _read(mesh.loop_triangles, "loops", triangles, 3, np.int32)
    return corners, _read(mesh.loop_triangles, "polygon_index", triangles, 1, np.int32)[:, 0]


def _colours(mesh: bpy.types.Mesh, corner_vertex: Ints) -> dict[str, Floats]:
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


def make_mesh(
    name: str,
    triangles: TriangleMesh,
    *,
    materials: Sequence[bpy.types.Material | None] = (),
    smooth: bool = True,
    of: bpy.types.Mesh | None = None,
) -> bpy.types.Mesh:
    """Create a Blender mesh from arrays, without converting units (the scene expects metres).

    of: a mesh for which `is_bare` holds and whose polygons are exactly these triangles. It is reused, which is faster.
    smooth: smooth shading.
    """
    mesh = bpy.data.meshes.new(name) if of is None else _stripped(of, name)
    count = len(triangles.faces)
    if of is None:
        mesh.vertices.add(len(triangles.vertices))
        mesh.loops.add(3 * count)
        mesh.polygons.add(count)
        mesh.attributes[".corner_vert"].data.foreach_set("value", np.ascontiguousarray(triangles.faces, np.int32).ravel())
        mesh.polygons.foreach_set("loop_start", np.arange(0, 3 * count, 3, dtype=np.int32))
    mesh.attributes["position"].data.foreach_set("vector", np.ascontiguousarray(triangles.vertices, np.float32).ravel())
    if triangles.material is not None and np.any(triangles.material):
        numbers = mesh.attributes.new(name="material_index", type="INT", domain="FACE")
        numbers.data.foreach_set("value", np.ascontiguousarray(triangles.material, np.int32))
    if not smooth:  # faces without this attribute are smooth
        mesh.attributes.new(name="sharp_face", type="BOOLEAN", domain="FACE").data.foreach_set("value", np.ones(count, bool))
    if triangles.uv is not None:
        layer = mesh.uv_layers.new(name=UV)
        layer.uv.foreach_set("vector", np.ascontiguousarray(triangles.uv, np.float32).ravel())
    for title, values in triangles.colours.items():
        colours = mesh.color_attributes.new(name=title, type="FLOAT_COLOR", domain="POINT")
        colours.data.foreach_set("color", np.ascontiguousarray(values, np.float32).ravel())
    if of is not None and triangles.colours:  # the mesh still refers to its former colour attributes
        first = next(iter(triangles.colours))
        mesh.attributes.active_color_name = mesh.attributes.default_color_name = first
    for title, marks in triangles.face_marks.items():
        flags = mesh.attributes.new(name=title, type="BOOLEAN", domain="FACE")
        flags.data.foreach_set("value", np.ascontiguousarray(marks, bool))
    for material in materials:
        mesh.materials.append(material)
    mesh.update(calc_edges=of is None)
    return mesh


_GEOMETRY = {"position", ".corner_vert", ".corner_edge", ".edge_verts"}


def is_bare(item: bpy.types.Object) -> bool:
    """Whether an object's mesh has one user and is only triangles with attributes: no shape keys, weights or modifiers."""
    mesh = item.data
    return (
        is_triangles(mesh) and mesh.users == 1 and mesh.shape_keys is None and mesh.animation_data is None
        and not (item.vertex_groups or item.modifiers or mesh.library)
    )  # fmt: skip


def _stripped(mesh: bpy.types.Mesh, name: str) -> bpy.types.Mesh:
    """Reduce a mesh to its vertices, edges and faces, and rename it."""
    for layer in [layer.name for layer in mesh.attributes if layer.name not in _GEOMETRY]:
        if layer in mesh.attributes:  # removing one attribute can remove dependent ones, such as a UV map's selection
            mesh.attributes.remove(mesh.attributes[layer])
    for key in list(mesh.keys()):
        del mesh[key]
    mesh.materials.clear()
    mesh.name = name
    return mesh


def make_object(
    name: str,
    triangles: TriangleMesh,
    *,
    materials: Sequence[bpy.types.Material | None] = (),
    smooth: bool = True,
    of: bpy.types.Mesh | None = None,
) -> bpy.types.Object:
    """Create an object with a mesh from arrays, not linked to any collection.

    of: as for `make_mesh`. smooth: smooth shading.
    """
    return bpy.data.objects.new(name, make_mesh(name, triangles, materials=materials, smooth=smooth, of=of))


def _read(
    collection: bpy.types.bpy_prop_collection[Any], field: str, count: int, width: int, kind: type[np.generic]
) -> AnyArray:
    values = np.zeros(count * width, kind)
    collection.foreach_get(field, values)
    return values.reshape(count, width)
