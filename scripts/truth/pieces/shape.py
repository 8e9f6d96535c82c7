"""A piece whose every detail is known: what the makers hand to the scanner."""

from __future__ import annotations

import hashlib
from dataclasses import dataclass
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh, vertex_normals


@dataclass(frozen=True)
class Shape:
    """A closed fine mesh in mm with its bare colour.

    vertices: (n, 3) float64. faces: (m, 3) int. albedo: (n, 3) linear RGB a vertex.
    """

    name: str
    vertices: Any
    faces: Any
    albedo: Any

    @property
    def normals(self) -> Any:
        """(n, 3) unit normals."""
        return vertex_normals(self.vertices, self.faces)

    def mesh(self, offset: Any = (0.0, 0.0, 0.0)) -> TriangleMesh:
        """The same as a TriangleMesh with its albedo as a colour layer."""
        colour = np.concatenate([self.albedo, np.ones((len(self.albedo), 1))], axis=1)
        return TriangleMesh(self.vertices + np.asarray(offset, float), self.faces, colours={"albedo": colour})

    def digest(self) -> str:
        """SHA-256 of positions to the micrometre, faces, and albedo to a thousandth: the same on any machine."""
        found = hashlib.sha256(self.name.encode())
        for values, unit in ((self.vertices, 1e-3), (self.albedo, 1e-3)):
            found.update(np.round(values / unit).astype("<i4").tobytes())
        found.update(np.asarray(self.faces, "<i4").tobytes())
        return found.hexdigest()


def joined(*shapes: Shape, name: str = "") -> Shape:
    """Several shapes as one, unfused."""
    starts = np.cumsum([0, *[len(shape.vertices) for shape in shapes]])
    return Shape(
        name or "+".join(shape.name for shape in shapes),
        np.concatenate([shape.vertices for shape in shapes]),
        np.concatenate([shape.faces + start for shape, start in zip(shapes, starts, strict=False)]),
        np.concatenate([shape.albedo for shape in shapes]),
    )
