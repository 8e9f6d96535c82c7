"""Draws small pictures of a scan with the part that would be its stand in colour, for the question about a stand."""

from __future__ import annotations

import numpy as np

from ....core.arrays import Bools, Floats, Pixels8
from ....core.mesh.preview import sampled_by_area, view
from ....core.mesh.triangles import TriangleMesh, face_normals
from ...thumbnails import Paint, surface_colours

SIZE, POINTS, TURN_DEG = 128, 40_000, 25.0
"""Side of a picture, px; points drawn; the view's turn from the front, degrees."""
GROUND = 0.16
"""Display-encoded grey of the ground."""
TINT = np.array([1.0, 0.62, 0.25])
"""Colour of the stand: amber, which differs from clay, stone and bronze in lightness too."""


def marked_picture(paint: Paint, mesh: TriangleMesh, marked: Bools) -> Pixels8:
    """(SIZE, SIZE, 3) uint8 picture, row 0 on top, of an upright mesh (z up) with the faces `marked` (m,) tinted."""
    faces, weights = sampled_by_area(mesh, POINTS)
    places = np.einsum("nk,nkd->nd", weights, np.asarray(mesh.vertices, float)[mesh.faces[faces]])
    normals = face_normals(np.asarray(mesh.vertices, float), mesh.faces)[faces]
    colours = surface_colours(paint, mesh, faces, weights)
    grey = colours.mean(axis=1, keepdims=True)
    tinted = np.asarray(marked)[faces][:, None]
    shown = np.where(tinted, TINT * (0.55 + 0.45 * grey), colours)
    return screen(view(places, normals, shown, yaw_deg=TURN_DEG, tilt_deg=15.0, size=SIZE))


def screen(picture: Floats) -> Pixels8:
    """(h, w, 3) uint8, row 0 on top: a picture (h, w, 4) in 0 to 1, row 0 at the bottom, composited over dark grey."""
    alpha = np.clip(picture[::-1, :, 3:], 0.0, 1.0)
    return np.rint(255.0 * np.clip(picture[::-1, :, :3] * alpha + GROUND * (1.0 - alpha), 0.0, 1.0)).astype(np.uint8)
