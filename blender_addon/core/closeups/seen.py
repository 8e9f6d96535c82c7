"""What does a camera (or a lamp) see of the piece? Which faces are visible as a whole, and where each pixel lies on them."""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..mesh.triangles import face_normals
from ..rasters import nearest_pixel
from ..records import record
from ..surface.texels import Texels, rasterize
from .camera import PhotoCamera

LOOK_PIXELS = 900
"""Longest side in pixels of the depth picture used to find what is hidden."""
STEEPEST = 0.2
"""Cosine between a face and the way to the camera below which it counts as turned away: beyond 78 degrees nothing is read."""


@record
class Form:
    """The piece's coarse form and what else may stand before it.

    vertices: (v, 3) mm. faces: (m, 3). normals: (v, 3) unit, smooth. others: further triangles (vertices, faces) that hide.
    """

    vertices: Floats
    faces: Ints
    normals: Floats
    others: tuple[Floats, Ints] | None = None


def flat_uv(camera: PhotoCamera, vertices: Floats) -> tuple[Floats, Floats]:
    """Where vertices (v, 3) lie on the photo as UVs (v, 2), v upwards, and their depths (v,)."""
    pixels, depth = camera.project(vertices)
    return np.stack([pixels[:, 0] / camera.size[0], 1.0 - pixels[:, 1] / camera.size[1]], axis=1), depth


def faces_seen(camera: PhotoCamera, form: Form, *, margin: float = 0.0) -> Bools:
    """(m,) bool: the faces that lie whole within the photo, turn their outer side to it and are hidden by nothing.

    margin: share of the photo's sides that is left out round its border.
    """
    uv, depth = flat_uv(camera, form.vertices)
    inside = (depth > 0) & (uv > margin).all(axis=1) & (uv < 1 - margin).all(axis=1)
    front = _facing(camera, form) > STEEPEST
    candidate = inside[form.faces].all(axis=1) & front
    if not candidate.any():
        return candidate
    nearest, scale = _depths(camera, form)
    seen = np.zeros(len(form.vertices), bool)
    rows = np.flatnonzero(inside)
    line, column = nearest_pixel(uv[rows], nearest.shape)
    pixel_mm = depth[rows] / camera.distance * camera.size[0] / scale[0]
    seen[rows] = depth[rows] <= nearest[line, column] + 4 * pixel_mm + 1e-4 * depth[rows]
    return np.asarray(candidate & seen[form.faces].all(axis=1))


def pixels_seen(camera: PhotoCamera, form: Form, faces: Ints, size: tuple[int, int]) -> Texels:
    """Which pixel of a photo of `size` (width, height) lies on which of `faces` (k,) of the form, rows upwards; the nearest
    face has it. Its `face` counts among `faces`."""
    uv, depth = flat_uv(camera, form.vertices)
    corners = form.faces[faces]
    order = np.argsort(-depth[corners].mean(axis=1), kind="stable")  # the nearest is drawn last
    found = rasterize(uv[corners[order]], height=size[1], width=size[0])
    return Texels(found.shape, found.index, order[found.face], found.weight, found.shared)


def _facing(camera: PhotoCamera, form: Form) -> Floats:
    """(m,) cosine between each face's normal and the way to the camera."""
    middle = form.vertices[form.faces].mean(axis=1)
    way = camera.place - middle
    way /= np.maximum(np.linalg.norm(way, axis=1, keepdims=True), 1e-12)
    return np.einsum("ij,ij->i", way, face_normals(form.vertices.astype(float), form.faces))


def _depths(camera: PhotoCamera, form: Form) -> tuple[Floats, tuple[int, int]]:
    """(h, w) depth of the nearest surface in a small picture, the largest of each pixel's neighbours, and its (w, h)."""
    factor = LOOK_PIXELS / max(camera.size)
    width, height = (max(8, round(side * factor)) for side in camera.size)
    vertices, faces = form.vertices, form.faces
    if form.others is not None:
        faces = np.concatenate([faces, form.others[1] + len(vertices)])
        vertices = np.concatenate([vertices, form.others[0]])
    uv, depth = flat_uv(camera, vertices)
    near = (depth > 0)[faces].all(axis=1) & (uv[faces] > -0.02).all(axis=(1, 2)) & (uv[faces] < 1.02).all(axis=(1, 2))
    faces = faces[near]
    order = np.argsort(-depth[faces].mean(axis=1), kind="stable")
    padded = 0.04 + (uv[faces[order]] * 0.92)  # what reaches past the photo must not wrap round it
    texels = rasterize(padded, height=height, width=width)
    nearest = np.full(height * width, np.inf)
    nearest[texels.index] = texels.interpolate(faces[order], depth)
    grown = nearest.reshape(height, width)
    wide = np.pad(np.where(np.isfinite(grown), grown, -np.inf), 1, constant_values=-np.inf)
    grown = np.max([wide[a : a + height, b : b + width] for a in range(3) for b in range(3)], axis=0)
    grown = np.where(np.isfinite(grown), grown, np.inf)
    first_row, first_column = round(0.04 * height), round(0.04 * width)
    last_row, last_column = height - first_row, width - first_column
    return grown[first_row:last_row, first_column:last_column], (last_column - first_column, last_row - first_row)
