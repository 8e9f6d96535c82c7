"""Reads the mesh of a plain GLB from its tables; Blender's importer, which takes twice as long, gets one triangle in its place.

Plain is a file of one part, one set of UVs and nothing packed, as scans mostly are. Its places, materials and pictures still
come from the importer. glTF 2.0 specification (Khronos, ISO/IEC 12113), chapters 3.6, 3.7 and 4.4.
"""

from __future__ import annotations

import json
import struct
from pathlib import Path

import bpy
import numpy as np

from ...core.arrays import AnyArray, Floats, Ints
from ...core.files.meshes.gltf import Gltf, view_bytes
from ...core.files.meshes.gltf_check import KINDS, PARTS
from ...core.mesh.triangles import TriangleMesh
from ...core.records import record
from ..meshes import make_mesh

FEWEST = 30_000
"""Triangles from which on it is worth it: the importer takes 20 ms for as many."""
FLOATS, WHOLE = (5126,), (5121, 5123, 5125)
"""Component types of 32-bit floats and of whole numbers without a sign (3.6.2.2)."""
TRIANGLES = 4
"""The mode of a part that is separate triangles (3.7.2.1)."""
_READ, _LEFT = {"POSITION", "TEXCOORD_0"}, {"NORMAL", "TANGENT"}
"""The attributes that are used, and those that the import leaves out in any case."""


@record
class PlainPart:
    """The tables of a plain GLB as they lie in the file: points (n, 3) and uv (n, 2) or None, corners (3 m, 1)."""

    points: Floats
    uv: Floats | None
    corners: Ints


def plain_part(gltf: Gltf) -> PlainPart | None:
    """The only part of a checked GLB; None where it is small or anything about it is unusual."""
    meshes, buffers = gltf.rows("meshes"), gltf.rows("buffers")
    shown = [node for node in gltf.rows("nodes") if "mesh" in node]
    if len(meshes) != 1 or len(shown) != 1 or len(buffers) != 1 or "uri" in buffers[0]:
        return None
    if gltf.rows("animations") or gltf.rows("skins") or any(view.get("extensions") for view in gltf.rows("bufferViews")):
        return None
    parts = meshes[0]["primitives"]
    part, names = parts[0], parts[0].get("attributes") or {}
    unusual = shown[0].get("extensions") or meshes[0].get("extensions") or part.get("extensions") or part.get("targets")
    if len(parts) != 1 or unusual or part.get("mode", TRIANGLES) != TRIANGLES or "indices" not in part:
        return None
    if not set(names) <= _READ | _LEFT or "POSITION" not in names:
        return None
    points, corners = _numbers(gltf, names["POSITION"], "VEC3", FLOATS), _numbers(gltf, part["indices"], "SCALAR", WHOLE)
    uv = _numbers(gltf, names["TEXCOORD_0"], "VEC2", FLOATS) if "TEXCOORD_0" in names else None
    if points is None or corners is None or (uv is None and "TEXCOORD_0" in names):
        return None
    if len(corners) < 3 * FEWEST or len(corners) % 3 or corners.strides[0] != corners.itemsize:
        return None
    return PlainPart(points, uv, corners)


def _numbers(gltf: Gltf, number: int, parts: str, kinds: tuple[int, ...]) -> AnyArray | None:
    """(n, k) view of an accessor's numbers in the file; None where it is of another kind or not simply stored."""
    accessor = gltf.rows("accessors")[number]
    if accessor["type"] != parts or accessor["componentType"] not in kinds or "bufferView" not in accessor:
        return None
    if accessor.get("sparse") is not None or accessor.get("normalized"):
        return None
    view = gltf.rows("bufferViews")[accessor["bufferView"]]
    kind, width = np.dtype(KINDS[accessor["componentType"]]), PARTS[parts]
    start = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
    rows = (view.get("byteStride") or width * kind.itemsize, kind.itemsize)
    return np.ndarray((accessor["count"], width), kind, gltf.buffer(view["buffer"]), start, rows)


def write_with_one_triangle(gltf: Gltf, target: Path) -> None:
    """Write a plain GLB without its mesh: one triangle with the same material, and all pictures."""
    data: list[bytes] = []
    views: list[dict[str, int]] = []

    def view(part: bytes) -> int:
        views.append({"buffer": 0, "byteOffset": sum(map(len, data)), "byteLength": len(part)})
        data.append(part.ljust(len(part) + -len(part) % 4, b"\0"))
        return len(data) - 1

    images = [
        {**image, "bufferView": view(view_bytes(gltf, gltf.rows("bufferViews")[image["bufferView"]]).tobytes())}
        if "bufferView" in image
        else image
        for image in gltf.rows("images")
    ]
    mesh = gltf.rows("meshes")[0]
    part = {name: value for name, value in mesh["primitives"][0].items() if name != "indices"}
    part["attributes"] = {name: place for place, name in enumerate(sorted(_READ & set(part["attributes"])))}
    accessors = []
    for name in part["attributes"]:
        corners = np.eye(3, dtype="<f4")[:, : 3 if name == "POSITION" else 2]
        accessors.append(
            {"bufferView": view(corners.tobytes()), "componentType": FLOATS[0], "count": 3, "type": f"VEC{corners.shape[1]}",
             "min": corners.min(axis=0).tolist(), "max": corners.max(axis=0).tolist()}
        )  # fmt: skip
    binary = b"".join(data)
    content = gltf.content | {
        "accessors": accessors, "bufferViews": views, "buffers": [{"byteLength": len(binary)}], "images": images,
        "meshes": [{**mesh, "primitives": [part]}],
    }  # fmt: skip
    text = json.dumps(content).encode()
    text = text.ljust(len(text) + -len(text) % 4)
    head = struct.pack("<4sIIII", b"glTF", 2, 28 + len(text) + len(binary), len(text), 0x4E4F534A)
    target.write_bytes(b"".join([head, text, struct.pack("<I4s", len(binary), b"BIN\0"), binary]))


def fill(item: bpy.types.Object, part: PlainPart) -> None:
    """Give an imported object the file's own mesh in place of the one triangle, as the importer would have made it."""
    corners = np.ascontiguousarray(part.corners[:, 0], np.int32)
    uv = None
    if part.uv is not None:
        turned = np.stack([part.uv[:, 0], np.float32(1.0) - part.uv[:, 1]], axis=1)  # glTF counts v from the top
        uv = turned.take(corners, axis=0).reshape(-1, 3, 2)
    points = np.stack([part.points[:, 0], -part.points[:, 2], part.points[:, 1]], axis=1)  # glTF has y upwards
    used = np.zeros(len(points), bool)
    used[corners] = True
    if not used.all():
        points, corners = points[used], (np.cumsum(used, dtype=np.int32) - 1)[corners]
    stand_in = item.data
    mesh = make_mesh(stand_in.name, TriangleMesh(points, corners.reshape(-1, 3), uv), materials=list(stand_in.materials))
    item.data = mesh
    mesh.validate()
    bpy.data.meshes.remove(stand_in)
