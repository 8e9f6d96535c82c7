"""How is a mesh represented for alignment? By points spread evenly over it, each with its normal and, if known, its colour."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats, Ints
from ...mesh.triangles import TriangleMesh, face_crosses, faces_by_area, gathered, unit, weights_within
from ...records import record
from ...statistics import robust_deviation


@record
class Surfels:
    """Oriented points on a surface.

    points, normals: (n, 3). rim: (n,) bool, at the edge of what was seen, or closed and never seen. colour: (n, 3) or None.
    spacing: how far apart they lie on average, noise: how far the scan's vertices stray from their neighbours along the normal
    (a standard deviation, fine relief included), in the points' unit.
    """

    points: Floats
    normals: Floats
    rim: Ints
    colour: Floats | None
    spacing: float
    noise: float = 0.0

    def __len__(self) -> int:
        return len(self.points)

    @property
    def size(self) -> float:
        """Diagonal of the bounding box."""
        return float(np.linalg.norm(np.ptp(self.points, axis=0)))

    @property
    def area(self) -> float:
        """Area of the surface that the points stand for."""
        return self.spacing**2 * len(self.points)

    def part(self, which: Ints | slice) -> Surfels:
        """Some of them, by mask or by number; `spacing` follows their count."""
        colour = None if self.colour is None else self.colour[which]
        points = self.points[which]
        spacing = self.spacing * np.sqrt(len(self.points) / max(len(points), 1))
        return Surfels(points, self.normals[which], self.rim[which], colour, float(spacing), self.noise)


def smooth_normals(vertices: Floats, faces: Ints, reach: float) -> Floats:
    """(n, 3) vertex normals averaged over about `reach`, so that a dense scan's noise does not tilt them."""
    edge = typical_edge(vertices, faces)
    rounds = int(np.clip(round((reach / max(edge, 1e-30)) ** 2), 0, 6))
    normals = unit(gathered(face_crosses(vertices, faces), faces, len(vertices)))
    for _ in range(rounds):
        normals = unit(gathered(normals[faces].sum(axis=1), faces, len(vertices)))
    return normals


def typical_edge(vertices: Floats, faces: Ints) -> float:
    """Median length of some 2,000 edges."""
    some = faces[:: max(1, len(faces) // 2000)]
    return float(np.median(np.linalg.norm(vertices[some[:, 0]] - vertices[some[:, 1]], axis=1)))


def noise_of(vertices: Floats, faces: Ints, *, most: int = 20_000) -> float:
    """How far vertices stray from the mean of their neighbours along the normal: a robust standard deviation.

    The mean of k neighbours strays as well, which widens the difference by sqrt(1 + 1 / k); six are usual.
    """
    normals = unit(gathered(face_crosses(vertices, faces), faces, len(vertices)))
    total = gathered(vertices[faces].sum(axis=1), faces, len(vertices))
    shared = np.bincount(faces.ravel(), minlength=len(vertices))
    used = np.flatnonzero(shared > 2)[:: max(1, len(vertices) // most)]
    if not len(used):
        return 0.0
    around = (total[used] - shared[used, None] * vertices[used]) / (2.0 * shared[used, None])
    off = np.einsum("ij,ij->i", vertices[used] - around, normals[used])
    return robust_deviation(off) / np.sqrt(1.0 + 1.0 / 6.0)


def rim_vertices(mesh: TriangleMesh, reach: float) -> Ints:
    """(n,) bool: vertices at open edges or of filled faces, and those nearer to them than about `reach`."""
    faces, count = mesh.faces, len(mesh.vertices)
    pairs = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]).astype(np.int64)
    forward, backward = pairs[:, 0] * count + pairs[:, 1], pairs[:, 1] * count + pairs[:, 0]
    rim = np.zeros(count, bool)
    ordered = np.sort(backward)
    found = ordered[np.minimum(np.searchsorted(ordered, forward), len(ordered) - 1)] == forward
    rim[pairs[~found]] = True
    filled = mesh.face_marks.get("filled")
    if filled is not None:
        rim[faces[filled]] = True
    if not rim.any():
        return rim
    edge = typical_edge(mesh.vertices, faces)
    for _ in range(int(np.clip(np.ceil(reach / max(edge, 1e-12)), 1, 12))):
        touched = rim[faces].any(axis=1)
        rim[faces[touched]] = True
    return rim


def sample_surfels(mesh: TriangleMesh, count: int, *, seed: int, colour: Floats | None = None) -> Surfels:
    """`count` surfels spread by area: one in each of `count` equal strata of the summed areas, at random within it.

    colour: (n, 3) a vertex. Raises ValueError for a mesh without area.
    """
    vertices = np.asarray(mesh.vertices, float)
    areas = np.linalg.norm(face_crosses(vertices, mesh.faces), axis=1)
    summed = np.cumsum(areas)
    if not len(summed) or not summed[-1] > 0:
        raise ValueError("the mesh has no surface")
    spacing = float(np.sqrt(0.5 * summed[-1] / count))
    random = np.random.default_rng(seed)
    face = faces_by_area(summed, (np.arange(count) + random.random(count)) / count)
    share = weights_within(random.random(count), random.random(count))
    corners = mesh.faces[face]
    normals = smooth_normals(vertices, mesh.faces, 0.6 * spacing)
    rim = rim_vertices(mesh, 1.5 * spacing)
    order = random.permutation(count)  # so that any first part is spread over the whole surface
    picked, share = corners[order], share[order]
    return Surfels(
        np.einsum("nk,nkd->nd", share, vertices[picked]),
        unit(np.einsum("nk,nkd->nd", share, normals[picked])),
        rim[picked].any(axis=1),
        None if colour is None else np.einsum("nk,nkd->nd", share, colour[picked]),
        spacing,
        noise_of(vertices, mesh.faces),
    )
