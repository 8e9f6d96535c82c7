"""Which parts of a scan belong to the piece, and which are loose? By area, by the gap to the main part, and by being closed."""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..mesh.components import connected_faces
from ..mesh.triangles import TriangleMesh, edges, face_areas
from ..records import record

TOUCHING = 0.005
"""Gap to the main part, over its diagonal, within which a small part still belongs: inlaid eyes, a cap."""
NEAR = 0.25
"""Gap over diagonal within which a large part belongs: a stand in a piece of its own."""
BESIDE, SMALLEST_PERCENT, MOST_OPEN, MOST_JUDGED = 0.02, 0.1, 0.05, 60
"""A small part may be a tooth, a finger or a bead if it lies this near to the main part, over its diagonal, has at least this
share of the main part's surface (percent), and is closed (at most this share of its edges open); the last is how many parts are
judged, the largest first. Guesses."""


@record
class Parts:
    """The parts of a mesh: `labels` (m,) a face, areas (k,), boxes (k, 2, 3), which to keep (k,), and which of them could as
    well go or of the others as well stay (k,)."""

    labels: Ints
    areas: Floats
    boxes: Floats
    keep: Bools
    unsure: Bools

    @property
    def keep_faces(self) -> Bools:
        """(m,) the faces of the parts to keep."""
        return self.keep[self.labels]


def parts(mesh: TriangleMesh, *, small_percent: float = 1.0, near: float = NEAR) -> Parts:
    """Separate the parts of a mesh and judge them.

    The part with the largest area is the main one. Kept are also parts of at least five times `small_percent` of its area
    whose box lies within `near` of its diagonal, and parts of at least `small_percent` that come within TOUCHING of its
    surface. Smaller ones stay where they are whole and lie beside it, which is not sure; nor is it of those of that size
    that go. With a `small_percent` of 0 all are kept.
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
    unsure = np.zeros(count, bool)
    if small_percent <= 0:
        keep[:] = True
        return Parts(labels, np.asarray(areas, float), boxes, keep, unsure)
    surface = None
    worth = (share >= min(SMALLEST_PERCENT, small_percent)) & ~keep & (gap <= BESIDE * diagonal)
    for part in np.flatnonzero(worth)[np.argsort(-share[worth])][:MOST_JUDGED]:
        if surface is None:
            surface = mesh.vertices[np.unique(mesh.faces[labels == main])]
        own = mesh.vertices[np.unique(mesh.faces[labels == part])]
        edge = _median_edge(mesh, labels == part)
        apart = _closest(own, surface, max(BESIDE * diagonal, edge))
        if share[part] >= small_percent and apart <= max(TOUCHING * diagonal, edge):
            keep[part] = True
        elif apart <= max(BESIDE * diagonal, edge):
            keep[part] = unsure[part] = _open_share(mesh.faces[labels == part]) < MOST_OPEN
    unsure |= ~keep & (share >= SMALLEST_PERCENT) & (gap <= 0.1 * diagonal)
    return Parts(labels, np.asarray(areas, float), boxes, keep, unsure)


def apart(mesh: TriangleMesh, *, small_percent: float = 1.0) -> Bools:
    """(n,) the vertices of small parts that lie beside the main part without touching it.

    Such a part, a bead as well as what a scan shows in the air, is nothing to stand on: one below a base would hide the base.
    """
    labels, count = connected_faces(mesh.faces, len(mesh.vertices))
    found = np.zeros(len(mesh.vertices), bool)
    if count < 2:
        return found
    areas = np.bincount(labels, face_areas(mesh.vertices, mesh.faces), count)
    main = int(areas.argmax())
    surface = mesh.vertices[np.unique(mesh.faces[labels == main])]
    touching = TOUCHING * float(np.linalg.norm(np.ptp(surface, axis=0)))
    small = np.flatnonzero(100.0 * areas < small_percent * areas[main])
    for part in small[np.argsort(-areas[small])][:MOST_JUDGED]:
        own = np.unique(mesh.faces[labels == part])
        reach = max(touching, _median_edge(mesh, labels == part))
        found[own] = _closest(mesh.vertices[own], surface, reach) > reach
    return found


def _open_share(faces: Ints) -> float:
    """Share of the edges of some faces that only one of them has."""
    _, counts = edges(faces)
    return float((counts == 1).mean()) if len(counts) else 1.0


def _boxes(mesh: TriangleMesh, labels: Ints, count: int) -> Floats:
    order = np.argsort(labels, kind="stable")
    starts = np.searchsorted(labels[order], np.arange(count))
    corners = mesh.vertices[mesh.faces[order]]
    low = np.minimum.reduceat(corners.min(axis=1), starts)
    high = np.maximum.reduceat(corners.max(axis=1), starts)
    return np.stack([low, high], axis=1).astype(float)


def _median_edge(mesh: TriangleMesh, faces: Bools) -> float:
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
