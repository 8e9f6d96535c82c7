"""What does a method need to know of a textured surface? Geometry and texels together, in mm, read once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..mesh.triangles import TriangleMesh, shading_normals
from ..records import record
from .texels import Texels, normals_at, rasterize, typical_texel_mm


@record
class TexturedSurface:
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

    @property
    def on_vertices(self) -> bool:
        """Whether the "texels" are the vertices of a mesh with vertex colours: they have no neighbours in a raster."""
        return self.texels.shape[0] == 1


def read_surface(triangles: TriangleMesh, faces_used: Bools, *, height: int, width: int) -> TexturedSurface:
    """The surface of a mesh with UVs whose texture is `height` x `width` texels.

    triangles: vertices in mm. faces_used: (m,) which faces show the texture. Texels that several places of the surface share
    are in it, marked; `without` takes them out. Raises ValueError for a mesh without UVs.
    """
    if triangles.uv is None:
        raise ValueError("the mesh has no UVs")
    used = faces_used & np.isfinite(triangles.uv).all(axis=(1, 2))
    faces, uv = triangles.faces[used], triangles.uv[used]
    vertices = triangles.vertices.astype(np.float32)
    normals = shading_normals(triangles.vertices.astype(float), triangles.faces).astype(np.float32)
    texels = rasterize(uv, height=height, width=width)
    return TexturedSurface(
        vertices,
        faces,
        uv,
        normals,
        texels,
        texels.interpolate(faces, vertices),
        normals_at(texels, faces, normals),
        typical_texel_mm(vertices, faces, uv, height=height, width=width),
    )


def vertex_surface(triangles: TriangleMesh) -> TexturedSurface:
    """The surface of a mesh (mm) whose colours lie on its vertices: each used vertex is a texel of a raster of one row."""
    faces, vertices = triangles.faces, triangles.vertices.astype(np.float32)
    normals = shading_normals(triangles.vertices.astype(float), faces).astype(np.float32)
    used, first = np.unique(faces.reshape(-1), return_index=True)
    weight = np.zeros((len(used), 3), np.float32)
    weight[np.arange(len(used)), first % 3] = 1
    texels = Texels((1, len(vertices)), used.astype(np.int64), first // 3, weight, np.zeros(len(used), bool))
    edge = np.linalg.norm(vertices[faces[:, 1]] - vertices[faces[:, 0]], axis=1)
    return TexturedSurface(
        vertices, faces, np.zeros((len(faces), 3, 2), np.float32), normals, texels, vertices[used], normals[used],
        float(np.median(edge)),
    )  # fmt: skip


def without(surface: TexturedSurface, texels: Bools) -> TexturedSurface:
    """The surface without some texels (n,) bool."""
    if not texels.any():
        return surface
    keep, all_ = ~texels, surface.texels
    fewer = Texels(all_.shape, all_.index[keep], all_.face[keep], all_.weight[keep], all_.shared[keep])
    return replace(surface, texels=fewer, position=surface.position[keep], normal=surface.normal[keep])
