"""Which parts of a form lie in recesses and which stand out? One number for each vertex, computed once before rendering.

Each vertex is compared with the surface smoothed over some millimetres: where the smooth surface lies above it, it is in a
recess. Fine scales are smoothed by repeated averaging with the neighbours (the umbrella operator, Taubin 1995), which spreads
by half of sqrt(k) edge lengths in k rounds; coarse ones on patches of vertices, by three lattices so that no lattice shows.
A form that is round as a whole is raised everywhere by that measure, so its broad part is taken off again.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, Ints
from ..mesh.triangles import edges, vertex_normals
from ..records import record
from .vertex_means import MEANS, Ring, means_of, over_patches, patches_of


@record
class CavitiesConstants:
    """Numbers of the recesses."""

    fine_mm: float = 0.7
    """Scale of a tool's cut, mm (set by eye, as the two below)."""
    coarse_mm: float = 2.0
    """Scale of a fold, mm."""
    broad_mm: float = 7.0
    """Scale of the form, which is taken off again, mm."""
    rounds: int = 40
    """Rounds of averaging at most, to bound the time on fine meshes."""


CAVITIES = CavitiesConstants()


def cavity(vertices: Floats, faces: Ints, *, gain: float = 14.0) -> Floats:
    """(n,) from -1 (raised) over 0 (even) to +1 (recess).

    vertices: (n, 3) in mm. faces: (m, 3). gain: how soon a depth counts as full; the measure is depth over scale.
    """
    if not len(vertices) or not len(faces):
        return np.zeros(len(vertices))
    vertices = np.asarray(vertices, float)
    pairs, _ = edges(faces)
    normals = vertex_normals(vertices, faces)
    spacing = float(np.median(np.linalg.norm(vertices[pairs[:, 0]] - vertices[pairs[:, 1]], axis=1))) or 1.0
    ring = Ring.of(pairs, len(vertices))
    coarse = max(CAVITIES.coarse_mm, 2.5 * spacing)
    total = 0.5 * _fine(vertices, normals, ring, spacing) + _coarse(vertices, normals, pairs, ring, coarse)
    broad = over_patches(total, vertices, normals, pairs, max(CAVITIES.broad_mm, 6.0 * spacing))
    found = np.tanh(gain * (ring.averaged(total - ring.averaged(broad, 6), 2)))
    return found * _trusted(vertices, pairs, spacing)


def _trusted(vertices: Floats, pairs: Ints, spacing: float) -> Floats:
    """1, falling to 0 where triangles are so long (caps, flat sides) that a vertex says nothing about what lies between."""
    length = np.linalg.norm(vertices[pairs[:, 0]] - vertices[pairs[:, 1]], axis=1)
    longest = np.zeros(len(vertices))
    np.maximum.at(longest, pairs.ravel(), np.repeat(length, 2))
    return np.clip(2.0 - longest / max(4.0 * spacing, CAVITIES.coarse_mm), 0.0, 1.0)


def _fine(vertices: Floats, normals: Floats, ring: Ring, spacing: float) -> Floats:
    rounds = int(np.clip(round(4.0 * (CAVITIES.fine_mm / spacing) ** 2), 1, CAVITIES.rounds))
    smooth = np.column_stack([ring.averaged(vertices[:, axis], rounds) for axis in range(3)])
    return np.einsum("ij,ij->i", smooth - vertices, normals) / (0.5 * spacing * np.sqrt(rounds))


def _coarse(vertices: Floats, normals: Floats, pairs: Ints, ring: Ring, size: float) -> Floats:
    """Depth below the surroundings over `size`, of patches of half that size."""
    total = np.zeros(len(vertices))
    for lattice in range(MEANS.lattices):
        patch, joined = patches_of(vertices, normals, pairs, 0.5 * size, lattice / MEANS.lattices)
        around = Ring.of(joined, int(patch.max()) + 1)
        for axis in range(3):
            mean = means_of(vertices[:, axis], patch)
            total += (around.averaged(mean, 4) - mean)[patch] * normals[:, axis]
    return ring.averaged(total / (MEANS.lattices * size), 4)
