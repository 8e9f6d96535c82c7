"""Where does the piece end and the stand begin? The stand's level top, looked for in an upright subject."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .mesh import Floats, TriangleMesh, face_areas, face_normals


@dataclass(frozen=True)
class Separation:
    """Where to cut. field: (n,) at the vertices, positive on the piece, or None when there is no stand.

    reason: why, in words. top_mm: height of the stand's top.
    """

    field: Floats | None
    reason: str
    top_mm: float = 0.0


def find_stand(mesh: TriangleMesh) -> Separation:
    """The stand of an upright subject (mm, standing on z = 0): a level top low down, that the piece stands on."""
    vertices = np.asarray(mesh.vertices, float)
    area, normal = face_areas(vertices, mesh.faces), face_normals(vertices, mesh.faces)
    height = vertices[mesh.faces].mean(axis=1)[:, 2]
    full = float(vertices[:, 2].max())
    level = normal[:, 2] > 0.9
    bins = np.linspace(0.0, full, 101)
    upward, _ = np.histogram(height[level], bins, weights=area[level])
    smooth = np.convolve(upward, np.ones(3), "same")
    low = smooth[: 60]
    place = int(np.argmax(low))
    footprint = _footprint(vertices)
    if low[place] < 0.12 * footprint:
        return Separation(None, "no level top was found low on the subject, so all of it is the piece")
    top = float(np.average(bins[max(place - 1, 0) : place + 2] + 0.005 * full, weights=upward[max(place - 1, 0) : place + 2] + 1e-12))
    if full - top < 0.1 * full or top < 0.01 * full:
        return Separation(None, "nothing stands on the level surface that was found, so all of it is the piece")
    margin = 0.006 * full
    return Separation(vertices[:, 2] - (top + margin), "the stand ends at its level top", top)


def _footprint(vertices: Floats) -> float:
    """Area of the box round the outline seen from above."""
    return float(np.prod(np.ptp(vertices[:, :2], axis=0)))
