"""The convex hull by Qhull, an independent library, for tests that need one or compare with it."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.mesh.triangles import face_normals

spatial = pytest.importorskip("scipy.spatial")


def hull(points: np.ndarray) -> np.ndarray:
    """Convex hull triangles looking outwards, by Qhull (Barber, Dobkin and Huhdanpaa, ACM TOMS 22, 1996)."""
    found = spatial.ConvexHull(points)
    triangles = found.simplices.copy()
    inward = (face_normals(points, triangles) * found.equations[:, :3]).sum(axis=1) < 0
    triangles[inward] = triangles[inward][:, ::-1]
    return triangles


def degrees_between(first: np.ndarray, second: np.ndarray) -> float:
    """The angle between two vectors (3,), exact for small ones too."""
    return float(np.degrees(np.arctan2(np.linalg.norm(np.cross(first, second)), first @ second)))
