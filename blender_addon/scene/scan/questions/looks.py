"""Draws a scan from a side as a small picture, from points distributed on its surface with their colours."""

from __future__ import annotations

import numpy as np

from ....core.arrays import Bools, Floats
from ....core.mesh.preview import sampled_by_area, view
from ....core.mesh.similarity import rotation_about
from ....core.mesh.triangles import TriangleMesh, face_normals
from ....core.records import record
from ....core.scan.upright import rotation_between
from ....job.decisions import Picture
from ...thumbnails import Paint, surface_colours

PIXELS, BACKGROUND = 128, 0.93
"""Side of a small picture, px, and its grey ground, display-encoded."""
POINTS = 30_000
"""Points of a scan that are drawn."""
UP = np.array([0.0, 0.0, 1.0])
"""The upright axis."""


@record
class Looks:
    """Points of a scan, in its own coordinates: positions (n, 3), unit normals (n, 3), display colours (n, 3)."""

    places: Floats
    normals: Floats
    colours: Floats

    def picture(self, up: Floats = UP, front_deg: float = 0.0, *, faded: Bools | None = None) -> Picture:
        """The scan standing with `up` (3,) on top, seen from `front_deg` counter-clockwise from -Y.

        faded: (n,) bool, points drawn in red, as what would be removed.
        """
        turn = rotation_about("z", np.radians(-front_deg)) @ rotation_between(np.asarray(up, float), UP)
        colours = self.colours
        if faded is not None:
            colours = np.where(np.asarray(faded)[:, None], [0.85, 0.25, 0.2], colours)
        drawn = view(self.places @ turn.T, self.normals @ turn.T, colours, size=PIXELS)
        shown = drawn[..., :3] * drawn[..., 3:] + BACKGROUND * (1.0 - drawn[..., 3:])
        return np.asarray(np.clip(shown[::-1] * 255.0 + 0.5, 0, 255), np.uint8)


def looks_of_scan(paint: Paint, mesh: TriangleMesh) -> Looks:
    """Points distributed on a mesh, with its colours."""
    faces, weights = sampled_by_area(mesh, POINTS)
    vertices = mesh.vertices.astype(float)
    places = np.einsum("nk,nkd->nd", weights, vertices[mesh.faces[faces]])
    return Looks(places, face_normals(vertices, mesh.faces)[faces], surface_colours(paint, mesh, faces, weights))
