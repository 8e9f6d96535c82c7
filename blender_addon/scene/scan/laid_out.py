"""How does an imported material lay its picture on the mesh? By which UVs, moved, turned and scaled in what way.

Packing programs keep UVs as small whole numbers and write beside the picture how they are to be stretched
(KHR_texture_transform); a picture may also lie by the second UVs of a mesh (glTF 2.0, 3.9.3, `texCoord`).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...core.arrays import Floats
from ...core.records import record
from ..surface.base_picture import node_behind, sockets_of

if TYPE_CHECKING:
    import bpy

MAPPING, UV_MAP = "ShaderNodeMapping", "ShaderNodeUVMap"


@record
class Layout:
    """The UVs that a picture lies by: the name of their layer ('' for the usual one), and what is done to them: (2, 3), the
    last column is added."""

    layer: str
    matrix: Floats

    @property
    def usual(self) -> bool:
        """Whether the usual UVs are taken as they are."""
        return not self.layer and bool(np.allclose(self.matrix, np.eye(2, 3), atol=1e-7))

    def of(self, uv: Floats) -> Floats:
        """UVs (..., 2) as the picture lies."""
        return (uv @ self.matrix[:, :2].T + self.matrix[:, 2]).astype(np.float32)


def layout_of(material: bpy.types.Material | None) -> Layout:
    """How the colour of a material lies; the usual way where it has no picture, or where its nodes are of another kind."""
    usual = Layout("", np.eye(2, 3))
    picture = next((node for node in map(node_behind, sockets_of(material, "base")) if node is not None), None)
    node = None if picture is None else _before(picture)
    matrix = np.eye(3)
    if node is not None and node.bl_idname == MAPPING:
        if node.vector_type != "POINT":
            return usual
        matrix, node = _matrix(node), _before(node)
    layer = node.uv_map if node is not None and node.bl_idname == UV_MAP else ""
    return Layout(layer, matrix[:2])


def _before(node: bpy.types.Node) -> bpy.types.Node | None:
    """The node that a node takes its places from."""
    links = node.inputs["Vector"].links
    return links[0].from_node if links else None


def _matrix(node: bpy.types.ShaderNodeMapping) -> Floats:
    """(3, 3) of a mapping node for points in a plane: scaled, turned, moved."""
    place, turn, scale = (node.inputs[name].default_value for name in ("Location", "Rotation", "Scale"))
    cos, sin = np.cos(turn[2]), np.sin(turn[2])
    return np.array([[cos * scale[0], -sin * scale[1], place[0]], [sin * scale[0], cos * scale[1], place[1]], [0, 0, 1.0]])
