"""Digests the content of a mesh for edit detection: geometry, UVs, colours, flags and shape keys."""

from __future__ import annotations

from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from ...core.arrays import AnyArray
from ..meshes import is_triangles
from .digest import Digest

if TYPE_CHECKING:
    import bpy

FIELDS = {
    "FLOAT": ("f4", "value", 1), "INT": ("i4", "value", 1), "FLOAT_VECTOR": ("f4", "vector", 3),
    "FLOAT_COLOR": ("f4", "color", 4), "BYTE_COLOR": ("f4", "color", 4), "BOOLEAN": ("?", "value", 1),
    "FLOAT2": ("f4", "vector", 2), "INT8": ("i4", "value", 1), "INT16_2D": ("i4", "value", 2), "INT32_2D": ("i4", "value", 2),
    "QUATERNION": ("f4", "value", 4), "FLOAT4X4": ("f4", "value", 16),
}  # fmt: skip
"""How the values of each attribute type are read: array type, field, numbers per element."""

_SKIPPED = (".select", ".hide", ".uv_select", "uv_select", ".vs.", ".es.", ".pn.", ".edge_verts", ".corner_edge")
"""Prefixes of names of attributes that hold a selection or are derived from the faces."""

_ABSENT_IS_ZERO = {
    "material_index",
    "sharp_face",
    "sharp_edge",
    "edge_crease",
    "crease_edge",
    "crease_vert",
    "bevel_weight_edge",
}
"""Attributes that Blender may drop or add when all values are zero, for instance when Edit Mode is left."""


def feed_mesh(digest: Digest, mesh: bpy.types.Mesh) -> None:
    """Update a digest with a mesh."""
    for part in _parts(mesh):
        digest.update(part)
    if mesh.shape_keys is not None:
        _keys(digest, mesh.shape_keys)


def _parts(mesh: bpy.types.Mesh) -> Iterator[bytes | AnyArray]:
    """What is digested of a mesh beside its shape keys, in order: bytes and arrays."""
    yield repr((len(mesh.vertices), len(mesh.polygons), len(mesh.loops))).encode()
    for layer in sorted(mesh.attributes, key=lambda attribute: attribute.name):
        if layer.name.startswith(_SKIPPED) or layer.data_type not in FIELDS:
            continue
        values = _values(layer, *FIELDS[layer.data_type])
        if layer.name in _ABSENT_IS_ZERO and not values.any():
            continue
        yield f"{layer.name} {layer.domain} {layer.data_type}".encode()
        yield values
    starts = np.arange(0, len(mesh.loops), 3, dtype=np.int32)
    if not is_triangles(mesh):
        starts = np.zeros(len(mesh.polygons), np.int32)
        mesh.polygons.foreach_get("loop_start", starts)
    yield starts
    active = (mesh.uv_layers.active, mesh.color_attributes.active_color)
    yield repr([layer.name if layer else "" for layer in active]).encode()


def _values(layer: bpy.types.Attribute, kind: str, field: str, size: int) -> AnyArray:
    array = np.zeros(len(layer.data) * size, kind)
    layer.data.foreach_get(field, array)
    return array


def _keys(digest: Digest, keys: bpy.types.Key) -> None:
    for block in keys.key_blocks:
        base = block.relative_key.name if block.relative_key else ""
        shown = (block.name, f"{block.value:.6g}", block.mute, block.vertex_group, base, f"{block.slider_max:.6g}")
        places = np.zeros(3 * len(block.data), np.float32)
        block.data.foreach_get("co", places)
        digest.update(repr(shown).encode() + places.tobytes())
