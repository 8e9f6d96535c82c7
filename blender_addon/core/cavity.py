"""Which parts of a form lie in recesses and which stand out? One number a vertex, computed once, free at render time.

Each vertex is compared with the surface smoothed over some millimetres: where the smooth surface lies above it, it is in a
recess. Repeated averaging with the neighbours (the umbrella operator) spreads by about sqrt(k) edge lengths in k rounds, which is
how the scale in mm is kept whatever the triangulation (Taubin 1995 describes the operator; the use as a cavity measure is
common practice).
"""

from __future__ import annotations

import numpy as np

from .mesh import Floats, Ints, edges, vertex_normals

SCALES_MM = (0.8, 2.5, 6.0)
ROUNDS = 60


def cavity(vertices: Floats, faces: Ints, *, scales_mm: tuple[float, ...] = SCALES_MM, gain: float = 5.0) -> Floats:
    """(n,) from -1 (raised) over 0 (even) to +1 (recess).

    vertices: (n, 3) in mm. faces: (m, 3). scales_mm: how far the smoothing spreads, several are added up. gain: how soon a
    depth counts as full; the measure is depth over scale, so that it does not depend on the size of the piece.
    """
    if not len(vertices) or not len(faces):
        return np.zeros(len(vertices))
    vertices = np.asarray(vertices, float)
    pairs, _ = edges(faces)
    normals = vertex_normals(vertices, faces)
    spacing = float(np.median(np.linalg.norm(vertices[pairs[:, 0]] - vertices[pairs[:, 1]], axis=1))) or 1.0
    smooth, done, total = vertices, 0, np.zeros(len(vertices))
    for scale in sorted(scales_mm):
        wanted = int(np.clip(round((scale / spacing) ** 2), 1, ROUNDS))
        for _ in range(max(wanted - done, 0)):
            smooth = _averaged(smooth, pairs)
        done = max(wanted, done)
        reach = spacing * np.sqrt(done)
        total += np.einsum("ij,ij->i", smooth - vertices, normals) / reach
    return np.tanh(gain * _averaged(total[:, None], pairs)[:, 0] / len(scales_mm))


def _averaged(values: Floats, pairs: Ints) -> Floats:
    """Each vertex's own value and the mean of its neighbours', half and half."""
    count = len(values)
    first, second = pairs[:, 0], pairs[:, 1]
    degree = np.bincount(first, minlength=count) + np.bincount(second, minlength=count)
    out = np.zeros_like(values)
    for axis in range(values.shape[1]):
        around = np.bincount(first, values[second, axis], count) + np.bincount(second, values[first, axis], count)
        out[:, axis] = 0.5 * values[:, axis] + 0.5 * around / np.maximum(degree, 1)
    return out
