"""Which tangents of a GLB have no length, and what stands in their place?

Where the corners of a triangle lie on one line in its texture, it has no tangent, and Blender writes zeros. glTF 2.0 (Khronos,
ISO/IEC 12113), section 3.7.2.1, wants each tangent of unit length, with a sign of 1 or -1 as its fourth number. Such a triangle
shows none of its texture, so that any direction across the normal serves.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np

from ...arrays import Floats
from .gltf import Gltf, read_gltf

FLOAT = 5126
"""Component type of 32-bit floats (Khronos glTF 2.0, 3.6.2.2)."""
UNIT = 5e-4
"""Largest deviation from unit length, that of the specification's own validator."""


def with_whole_tangents(path: Path) -> bytes:
    """The bytes of a GLB with every tangent of unit length. Raises FileProblem where it can't be read."""
    gltf = read_gltf(path)
    data = bytearray(path.read_bytes())
    for mesh in gltf.rows("meshes"):
        for part in mesh["primitives"]:
            named = part["attributes"]
            if "TANGENT" not in named or "NORMAL" not in named:
                continue
            start, tangents = _vectors(gltf, named["TANGENT"], 4)
            _, normals = _vectors(gltf, named["NORMAL"], 3)
            lost = np.abs(np.linalg.norm(tangents[:, :3], axis=1) - 1.0) > UNIT
            if lost.any():
                tangents = tangents.copy()
                tangents[lost, :3] = across(normals[lost])
                tangents[lost, 3] = np.where(tangents[lost, 3] < 0.0, -1.0, 1.0)
                data[start : start + tangents.nbytes] = tangents.astype("<f4").tobytes()
    return bytes(data)


def across(normals: Floats) -> Floats:
    """(n, 3) unit vectors across (n, 3) unit normals."""
    axes = np.eye(3)[np.abs(normals).argmin(axis=1)]  # the axis farthest from the normal
    found = np.cross(normals, axes)
    return np.asarray(found / np.linalg.norm(found, axis=1, keepdims=True))


def _vectors(gltf: Gltf, number: int, size: int) -> tuple[int, Floats]:
    """Where an accessor's numbers begin in the file, and its rows. Only for tightly packed floats of the data chunk."""
    accessor = gltf.rows("accessors")[number]
    view = gltf.rows("bufferViews")[accessor["bufferView"]]
    assert accessor["componentType"] == FLOAT and view.get("byteStride", 4 * size) == 4 * size
    place = view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
    rows = np.frombuffer(gltf.buffer(view["buffer"]), "<f4", accessor["count"] * size, place)
    return gltf.start + place, rows.reshape(-1, size)
