"""What does a method need to know of a textured surface? Geometry and texels together, in mm, read once."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..mesh import TriangleMesh, face_areas, vertex_normals
from .texels import Texels, normals_at, rasterize, typical_texel_mm

Floats = NDArray[np.floating]
Ints = NDArray[np.integer]


@dataclass(frozen=True)
class Surface:
    """A textured surface.

    vertices: (v, 3) float32 mm. faces: (m, 3). uv: (m, 3, 2). vertex_normal: (v, 3). texels: those covered and usable.
    position, normal: (n, 3) float32 mm / unit, smooth, in the texels. texel_mm: typical edge of a texel.
    """

    vertices: Floats
    faces: Ints
    uv: Floats
    vertex_normal: Floats
    texels: Texels
    position: Floats
    normal: Floats
    texel_mm: float

    def __len__(self) -> int:
        return len(self.texels)


def read_surface(triangles: TriangleMesh, faces_used: NDArray[np.bool_], *, height: int, width: int) -> Surface:
    """The surface of `triangles` (vertices in mm, with UVs) whose faces in `faces_used` (m,) show a texture.

    Texels that several places of the surface share are in it, marked; `without` takes them out.
    """
    if triangles.uv is None:
        raise ValueError("the mesh has no UVs")
    used = faces_used & np.isfinite(triangles.uv).all(axis=(1, 2))
    faces, uv = triangles.faces[used], triangles.uv[used]
    vertices = triangles.vertices.astype(np.float32)
    normals = vertex_normals(triangles.vertices.astype(float), triangles.faces).astype(np.float32)
    texels = rasterize(uv, height=height, width=width)
    return Surface(
        vertices,
        faces,
        uv,
        normals,
        texels,
        texels.interpolate(faces, vertices),
        normals_at(texels, faces, normals),
        typical_texel_mm(vertices, faces, uv, height=height, width=width),
    )


def without(surface: Surface, texels: NDArray[np.bool_]) -> Surface:
    """The surface without some texels (n,) bool."""
    if not texels.any():
        return surface
    keep, all_ = ~texels, surface.texels
    fewer = Texels(all_.shape, all_.index[keep], all_.face[keep], all_.weight[keep], all_.shared[keep])
    return replace(surface, texels=fewer, position=surface.position[keep], normal=surface.normal[keep])


def textured_area(surface: Surface) -> float:
    """Area in square mm of the faces that have texture area."""
    edge1, edge2 = surface.uv[:, 1] - surface.uv[:, 0], surface.uv[:, 2] - surface.uv[:, 0]
    has = np.abs(edge1[:, 0] * edge2[:, 1] - edge1[:, 1] * edge2[:, 0]) > 1e-14
    return float(face_areas(surface.vertices.astype(float), surface.faces)[has].sum())
