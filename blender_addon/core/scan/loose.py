"""Which parts of a scan belong to the thing, and which float loose? By area, and by the gap to the main part."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..mesh.components import connected_faces
from ..mesh.triangles import Floats, Ints, TriangleMesh, face_areas

TOUCHING = 0.005
"""Gap to the main part, over its diagonal, within which a small part still belongs: inlaid eyes, a cap."""
NEAR = 0.25
"""Gap over diagonal within which a large part belongs: a stand in a piece of its own."""


@dataclass(frozen=True)
class Parts:
    """The parts of a mesh: `labels` (m,) a face, areas (k,), boxes (k, 2, 3), and which to keep (k,)."""

    labels: Ints
    areas: Floats
    boxes: Floats
    keep: NDArray[np.bool_]

    @property
    def keep_faces(self) -> NDArray[np.bool_]:
        """(m,) the faces of the parts to keep."""
        return self.keep[self.labels]


def parts(mesh: TriangleMesh, *, small_percent: float = 1.0, near: float = NEAR) -> Parts:
    """Tell the parts of a mesh apart and judge them.

    The part with the largest area is the main one. Kept are also parts of at least five times `small_percent` of its area
    whose box lies within `near` of its diagonal, and parts of at least `small_percent` that come within TOUCHING of its
    surface. With a `small_percent` of 0 all are kept.
    """
    labels, count = connected_faces(mesh.faces, len(mesh.vertices))
    areas = np.bincount(labels, face_areas(mesh.vertices, mesh.faces), count)
    boxes = _boxes(mesh, labels, count)
    main = int(areas.argmax())
    keep = np.zeros(count, bool)
    keep[main] = True
    diagonal = float(np.linalg.norm(boxes[main, 1] - boxes[main, 0]))
    share = 100.0 * areas / areas[main]
    gap = _box_gap(boxes, boxes[main])
    keep |= (share >= 5.0 * small_percent) & (gap <= near * diagonal)
    if small_percent <= 0:
        keep[:] = True
    surface = None
    for part in np.flatnonzero((share >= small_percent) & ~keep & (gap <= TOUCHING * diagonal)):
        if surface is None:
            surface = mesh.vertices[np.unique(mesh.faces[labels == main])]
        own = mesh.vertices[np.unique(mesh.faces[labels == part])]
        reach = max(TOUCHING * diagonal, _median_edge(mesh, labels == part))
        keep[part] = _closest(own, surface, reach) <= reach
    return Parts(labels, np.asarray(areas, float), boxes, keep)


def _boxes(mesh: TriangleMesh, labels: Ints, count: int) -> Floats:
    order = np.argsort(labels, kind="stable")
    starts = np.searchsorted(labels[order], np.arange(count))
    corners = mesh.vertices[mesh.faces[order]]
    low = np.minimum.reduceat(corners.min(axis=1), starts)
    high = np.maximum.reduceat(corners.max(axis=1), starts)
    return np.stack([low, high], axis=1).astype(float)


def _median_edge(mesh: TriangleMesh, faces: NDArray[np.bool_]) -> float:
    """Vertices of two parts that touch lie no nearer than the triangles are fine."""
    corners = mesh.vertices[mesh.faces[faces]]
    return float(np.median(np.linalg.norm(corners[:, 0] - corners[:, 1], axis=1)))


def _box_gap(boxes: Floats, other: Floats) -> Floats:
    apart = np.maximum(np.maximum(boxes[:, 0] - other[1], other[0] - boxes[:, 1]), 0.0)
    return np.linalg.norm(apart, axis=1)


def _closest(points: Floats, surface: Floats, reach: float) -> float:
    """Smallest distance between two sets of vertices, at most a few thousand of each near one another being compared."""
    low, high = points.min(axis=0) - 4 * reach, points.max(axis=0) + 4 * reach
    near = surface[((surface >= low) & (surface <= high)).all(axis=1)]
    if not len(near):
        return float("inf")
    near = near[:: max(1, len(near) // 4000)]
    points = points[:: max(1, len(points) // 1000)]
    best = np.inf
    for block in range(0, len(points), 256):
        gap = np.linalg.norm(points[block : block + 256, None] - near, axis=2).min()
        best = min(best, float(gap))
    return best
