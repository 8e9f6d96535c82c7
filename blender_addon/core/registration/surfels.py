"""What of a mesh is compared? Points spread evenly over its surface, each with its normal and, if known, its colour."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from ..mesh import Floats, Ints, TriangleMesh, face_crosses, gathered, unit, vertex_normals


@dataclass(frozen=True)
class Surfels:
    """Oriented points. points, normals: (n, 3). colour: (n, 3) or None. filled: (n,) bool, closed and never seen."""

    points: Floats
    normals: Floats
    colour: Floats | None
    filled: Ints

    def __len__(self) -> int:
        return len(self.points)

    def part(self, which: Ints) -> Surfels:
        """Some of them, by mask or by number."""
        colour = None if self.colour is None else self.colour[which]
        return Surfels(self.points[which], self.normals[which], colour, self.filled[which])


def smooth_normals(mesh: TriangleMesh, *, rounds: int = 2) -> Floats:
    """(n, 3) vertex normals averaged over neighbouring faces, so that a scan's noise does not tilt them."""
    normals = vertex_normals(np.asarray(mesh.vertices, float), mesh.faces)
    for _ in range(rounds):
        normals = unit(gathered(normals[mesh.faces].sum(axis=1), mesh.faces, len(mesh.vertices)))
    return normals


def sample_surfels(
    mesh: TriangleMesh, count: int, *, seed: int, colour: Floats | None = None, normals: Floats | None = None
) -> Surfels:
    """`count` surfels spread by area: one in each of `count` equal strata of the summed areas, at random within it.

    colour: (n, 3) a vertex. normals: (n, 3) a vertex, worked out when missing. Raises ValueError for a mesh without area.
    """
    vertices = np.asarray(mesh.vertices, float)
    summed = np.cumsum(np.linalg.norm(face_crosses(vertices, mesh.faces), axis=1))
    if not len(summed) or not summed[-1] > 0:
        raise ValueError("the mesh has no surface")
    random = np.random.default_rng(seed)
    face = np.searchsorted(summed, (np.arange(count) + random.random(count)) / count * summed[-1]).clip(0, len(summed) - 1)
    root, along = np.sqrt(random.random(count)), random.random(count)
    share = np.stack([1.0 - root, root * (1.0 - along), root * along], axis=1)
    corners = mesh.faces[face]
    vertex_directions = smooth_normals(mesh) if normals is None else normals
    filled = mesh.face_marks.get("filled")
    return Surfels(
        np.einsum("nk,nkd->nd", share, vertices[corners]),
        unit(np.einsum("nk,nkd->nd", share, vertex_directions[corners])),
        None if colour is None else np.einsum("nk,nkd->nd", share, colour[corners]),
        np.zeros(count, bool) if filled is None else filled[face],
    )
