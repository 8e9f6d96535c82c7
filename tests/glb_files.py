"""glTF files for tests, put together byte by byte: plain, packed with Draco or meshopt compression, with pictures."""

from __future__ import annotations

import json
import struct
from collections.abc import Sequence
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh


def glb(content: dict[str, Any], binary: bytes = b"", *, announced: int | None = None) -> bytes:
    """A binary glTF by the glTF 2.0 specification, section 4.4."""
    text = json.dumps(content).encode()
    text += b" " * (-len(text) % 4)
    binary += b"\0" * (-len(binary) % 4)
    body = struct.pack("<II", len(text), 0x4E4F534A) + text
    if binary:
        body += struct.pack("<II", len(binary), 0x004E4942) + binary
    return struct.pack("<4sII", b"glTF", 2, announced or 12 + len(body)) + body


TRIANGLE: dict[str, Any] = {
    "asset": {"version": "2.0"},
    "buffers": [{"byteLength": 36}],
    "bufferViews": [{"buffer": 0, "byteLength": 36}],
    "accessors": [{"bufferView": 0, "componentType": 5126, "count": 3, "type": "VEC3"}],
    "meshes": [{"primitives": [{"attributes": {"POSITION": 0}}]}],
}


def scene_of(mesh: TriangleMesh) -> tuple[dict[str, Any], list[bytes]]:
    """The description of one mesh, a vertex a corner so that UVs fit, and the bytes of its views: corners, points, UVs."""
    corners = np.arange(3 * len(mesh.faces), dtype="<u4")
    points = mesh.vertices[mesh.faces].reshape(-1, 3).astype("<f4")
    uv = np.zeros((len(points), 2), "<f4") if mesh.uv is None else mesh.uv.reshape(-1, 2).astype("<f4")
    content = {
        "asset": {"version": "2.0"},
        "accessors": [
            {"bufferView": 0, "componentType": 5125, "count": len(corners), "type": "SCALAR"},
            {"bufferView": 1, "componentType": 5126, "count": len(points), "type": "VEC3",
             "min": points.min(axis=0).tolist(), "max": points.max(axis=0).tolist()},
            {"bufferView": 2, "componentType": 5126, "count": len(uv), "type": "VEC2"},
        ],
        "meshes": [{"primitives": [{"indices": 0, "attributes": {"POSITION": 1, "TEXCOORD_0": 2}}]}],
        "nodes": [{"mesh": 0}],
        "scenes": [{"nodes": [0]}],
        "scene": 0,
    }  # fmt: skip
    return content, [corners.tobytes(), points.tobytes(), uv.tobytes()]


def packed_into(content: dict[str, Any], views: Sequence[bytes], strides: Sequence[int | None] = ()) -> bytes:
    """A GLB whose buffer views are these bytes one after the other."""
    binary, rows = b"", []
    for place, view in enumerate(views):
        row = {"buffer": 0, "byteOffset": len(binary), "byteLength": len(view)}
        stride = strides[place] if place < len(strides) else None
        rows.append(row if stride is None else {**row, "byteStride": stride})
        binary += view + b"\0" * (-len(view) % 4)
    return glb({**content, "buffers": [{"byteLength": len(binary)}], "bufferViews": rows}, binary)


def with_picture(content: dict[str, Any], image: dict[str, Any]) -> dict[str, Any]:
    """The description with one picture as its base colour."""
    content = json.loads(json.dumps(content))
    content["images"], content["textures"] = [image], [{"source": 0}]
    content["materials"] = [{"pbrMetallicRoughness": {"baseColorTexture": {"index": 0}}}]
    content["meshes"][0]["primitives"][0]["material"] = 0
    return content
