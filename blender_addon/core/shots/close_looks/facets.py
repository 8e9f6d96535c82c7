"""How large does a picture show the scan's triangles? Large ones are seen as facets, on the outline above all."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats, Ints
from ...mesh.triangles import face_crosses
from ..framing import CameraPose, project

COARSE = 40.0
"""Pixels of a triangle's edge from which a close look is said to show facets. A guess: at 70 they were seen on a jaw, at 25
they were not seen."""

FEWEST = 12
"""Fewest triangles in the frame to judge by."""


def edge_pixels(vertices: Floats, faces: Ints, pose: CameraPose, half: tuple[float, float], *, long_side: int) -> float:
    """Median length in pixels of the edges of the triangles that face a camera inside its frame; nan where it shows too few.

    vertices: (n, 3) mm. faces: (m, 3). half: tangents of half the angles of view, across and up. long_side: of the picture, px.
    """
    crosses = face_crosses(vertices, faces)
    slopes, depth = project(vertices, pose.position, pose.rotation)
    inside = (np.abs(slopes) < np.array(half)).all(axis=1) & (depth > 0.0)
    seen = inside[faces].all(axis=1)
    seen[seen] = np.einsum("nc,nc->n", pose.position - vertices[faces[seen, 0]], crosses[seen]) > 0.0
    if seen.sum() < FEWEST:
        return float("nan")
    corners = slopes[faces[seen]]
    length = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2)
    return float(np.median(length)) * 0.5 * long_side / max(half)
