"""Reads the subject for the planning of shots: points of piece and stand, normals, and the richness of the relief."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial

import numpy as np

from ...core.arrays import Floats
from ...core.mesh.triangles import TriangleMesh, vertex_normals
from ...core.rasters import repeated_pixel
from ...core.shots.close_looks.unshown import unshown
from ...core.shots.subject import Subject, richness_of, thinned
from ...job.errors import SubjectError
from ..images import read_pixels
from ..meshes import MM, read_mesh
from ..stage import Stage


def read_subject(stage: Stage) -> Callable[[], Subject]:
    """A function, which can be called in another thread, that gives the subject's points in mm, with the normal at each and the
    richness of its relief."""
    meshes = [(role, read_mesh(item, scale=MM)) for role in ("piece", "stand") for item in stage.find_all(role).values()]
    piece = next((mesh for role, mesh in meshes if role == "piece" and len(mesh.vertices)), None)
    if piece is None or not len(piece.faces):
        raise SubjectError("The piece has no surface to photograph: look at what separation left of it")
    image = stage.find("relief_height", "piece")
    relief = None if image is None or piece.uv is None or not all(image.size) else read_pixels(image)[..., 0].copy()
    return partial(_subject, np.concatenate([mesh.vertices for _, mesh in meshes]), piece, relief)


def _subject(outline: Floats, piece: TriangleMesh, relief: Floats | None) -> Subject:
    normals = vertex_normals(piece.vertices, piece.faces)
    chosen = thinned(len(piece.vertices), 40000)
    points, normals = piece.vertices[chosen].astype(float), normals[chosen]
    heights = None if relief is None else _relief_at(relief, piece)
    richness = richness_of(points, normals)
    if heights is not None:
        found = richness_of(points, normals, heights=heights[chosen])
        scale = float(np.percentile(found, 95)) or float(found.max())
        if scale > 0.0:  # relief dominates; the form decides where the relief is uniform
            richness = found / scale + 0.25 * richness / max(float(np.percentile(richness, 95)), 1e-9)
    return Subject(outline, points, normals, richness, unshown(piece, chosen, points, normals))


def _relief_at(values: Floats, piece: TriangleMesh) -> Floats:
    """(n,) recovered height at each vertex of the piece, in the unit of the map's `values` (h, w)."""
    assert piece.uv is not None
    spots = np.zeros((len(piece.vertices), 2))
    spots[piece.faces.reshape(-1)] = piece.uv.reshape(-1, 2)
    return values[repeated_pixel(spots, values.shape)]
