"""Which vertices stick out as spikes or fold the surface over itself, and where should they lie among their neighbours?

A scan whose vertices lie further off than its edges are long has triangles that face into the piece. They render as dark slits,
which no such piece has.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..arrays import Bools, Floats, Ints
from .face_graph import FaceGraph
from .triangles import TriangleMesh, face_crosses, gathered

SHARP = 0.8
"""Distance to the mean of the neighbours over the mean distance to them: 0.58 at a cube's corner, near 1 on a spike."""

FLAT = 0.95
"""Length of the summed over the summed length of a vertex's face normals: 1 on a plane, 0.95 where they lean 18 degrees, near 0
on a spike."""

AGAINST, TURNED_FROM = -0.1, 2
"""Cosine below which a face looks away from a neighbour, and how many of its three it must look away from: the sides of a thin
rim look away from their surroundings, too, but not from the faces beside them."""
ROUNDS = 4
"""Most times that vertices are moved: of 76 folds of one scan 13 were left after that."""
FARTHEST = 0.35
"""How far a vertex may move in all, over the mean length of its edges: a guess."""


def _neighbours(faces: Ints) -> tuple[Ints, Ints]:
    """Each edge both ways, ordered by its start: starts and ends; an edge of two faces comes twice."""
    edge = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]).astype(np.int64)
    edge = np.concatenate([edge, edge[:, ::-1]])
    order = np.argsort(edge[:, 0], kind="stable")
    return edge[order, 0], edge[order, 1]


def _means(vertices: Floats, source: Ints, target: Ints, use: Floats) -> tuple[Floats, Floats]:
    """(n, 3) means of the neighbours that count, and (n,) how many did."""
    count = len(vertices)
    shared = np.asarray(np.bincount(source, use, count), float)
    total = np.stack([np.bincount(source, use * vertices[target, axis], count) for axis in range(3)], axis=1)
    return total / np.maximum(shared, 1e-9)[:, None], shared


def steady_vertices(mesh: TriangleMesh, *, rounds: int = 4, factor: float = 8.0) -> Bools:
    """(n,) bool: vertices that are not spikes.

    A spike stands off the mean of its neighbours by more than `factor` times the median of that distance over the mesh, by
    more than twice the median edge, by more than any of its neighbours does, and is sharp; it is taken out and the rest looked
    at again. Sharp: the distance to the mean is most of the distance to the neighbours, which it is not at the corner of a
    block.
    """
    count = len(mesh.vertices)
    source, target = _neighbours(mesh.faces)
    if not len(source):
        return np.ones(count, bool)
    good = np.ones(count, bool)
    vertices = mesh.vertices.astype(float)
    usual = 2.0 * float(np.median(np.linalg.norm(vertices[source] - vertices[target], axis=1)))
    for _ in range(rounds):
        use = good[target].astype(float)
        mean, shared = _means(vertices, source, target, use)
        off = np.linalg.norm(vertices - mean, axis=1)
        off[shared < 0.5] = 0.0
        limit = max(factor * float(np.median(off[good])), usual)
        most = np.zeros(count)
        starts = np.flatnonzero(np.r_[True, source[1:] != source[:-1]])
        most[source[starts]] = np.maximum.reduceat(np.where(good[target], off[target], 0.0), starts)
        spikes = good & (off > limit) & (off >= most) & (off > SHARP * _reach(vertices, source, target, use, shared))
        if not spikes.any():
            break
        good &= ~spikes
    return good


def in_their_plane(mesh: TriangleMesh) -> Bools:
    """(n,) bool: vertices whose faces lie in one plane.

    In a plane of a few large triangles a vertex may lie far from its neighbours' mean; moving it would smear the texture.
    """
    crosses = face_crosses(mesh.vertices.astype(float), mesh.faces)
    both = gathered(np.column_stack([crosses, np.linalg.norm(crosses, axis=1)]), mesh.faces, len(mesh.vertices))
    return np.linalg.norm(both[:, :3], axis=1) >= FLAT * np.maximum(both[:, 3], 1e-30)


def _reach(vertices: Floats, source: Ints, target: Ints, use: Floats, shared: Floats) -> Floats:
    """(n,) mean distance of each vertex to its neighbours in `use`."""
    lengths = np.linalg.norm(vertices[source] - vertices[target], axis=1)
    return np.bincount(source, use * lengths, len(vertices)) / np.maximum(shared, 1e-9)


def ring_medians(mesh: TriangleMesh) -> Floats:
    """(n, 3) vertices, each the median, axis by axis, of itself and its neighbours, which outliers do not move.

    On a smooth surface of radius R with edges e the median lies about e^2 / 4R inside; sharp edges are rounded by half an edge.
    """
    source, target = _neighbours(mesh.faces)
    count = len(mesh.vertices)
    keys = np.unique(np.concatenate([source * count + target, np.arange(count) * (count + 1)]))
    owner, member = keys // count, keys % count
    starts = np.searchsorted(owner, np.arange(count))
    sizes = np.bincount(owner, minlength=count)
    vertices = mesh.vertices.astype(float)
    medians = np.zeros((count, 3))
    for axis in range(3):
        values = vertices[member, axis]
        ordered = values[np.lexsort((values, owner))]
        medians[:, axis] = 0.5 * (ordered[starts + (sizes - 1) // 2] + ordered[starts + sizes // 2])
    return medians


def settled_among_neighbours(mesh: TriangleMesh, spikes: Bools, *, rounds: int = 10) -> TriangleMesh:
    """The mesh with its spikes (n,) bool moved to the mean of their neighbours, those between spikes once these have moved.

    On an open rim only neighbours along the rim count, so that the rim does not move.
    """
    source, target = _neighbours(mesh.faces)
    twin = np.minimum(source, target) * len(mesh.vertices) + np.maximum(source, target)
    _, inverse, counts = np.unique(twin, return_inverse=True, return_counts=True)
    on_rim_edge = counts[inverse.reshape(-1)] == 2  # an edge of one face comes twice here: once each way
    on_rim = np.zeros(len(mesh.vertices), bool)
    on_rim[source[on_rim_edge]] = True
    counting = on_rim_edge | ~on_rim[source]
    vertices = mesh.vertices.astype(float)
    waiting = spikes.copy()
    for _ in range(rounds):
        mean, shared = _means(vertices, source, target, (counting & ~waiting[target]).astype(float))
        ready = waiting & (shared > 0.5)
        if not ready.any():
            break
        vertices[ready] = mean[ready]
        waiting = waiting & ~ready
    return replace(mesh, vertices=vertices.astype(mesh.vertices.dtype))


def folded_faces(mesh: TriangleMesh) -> Bools:
    """(m,) bool: faces that look away from the mean of the faces round them, and from most of those beside them."""
    vertices = np.asarray(mesh.vertices, float)
    crosses = face_crosses(vertices, mesh.faces)
    around = crosses
    for _ in range(2):
        around = gathered(around, mesh.faces, len(vertices))[mesh.faces].sum(axis=1)
    folded = np.einsum("ij,ij->i", crosses, around) < 0.0
    if not folded.any():
        return folded
    near = _touching(mesh, mesh.faces[folded])
    graph = FaceGraph.of(_part(mesh, near)[0])
    away = np.einsum("ij,ij->i", graph.normal[graph.first], graph.normal[graph.second]) < AGAINST
    count = np.bincount(graph.first[away], minlength=len(near)) + np.bincount(graph.second[away], minlength=len(near))
    folded[near] &= count >= TURNED_FROM
    return folded


def unfolded(mesh: TriangleMesh) -> tuple[TriangleMesh, int]:
    """The mesh with the vertices of its folds laid nearer to the mean of their neighbours, and how many faces were folded.

    A vertex moves by `FARTHEST` of its edges at most, so that a claw loses no more than that. Other vertices, the triangulation
    and the texture's place on it stay.
    """
    folded = folded_faces(mesh)
    first = int(folded.sum())
    start = mesh.vertices
    for _ in range(ROUNDS):
        if not folded.any():
            break
        part, index = _part(mesh, _touching(mesh, mesh.faces[folded]))
        moved = np.isin(index, mesh.faces[folded])
        flat = settled_among_neighbours(part, moved)
        step = flat.vertices.astype(float) - start[index]
        length = np.linalg.norm(step, axis=1, keepdims=True)
        step *= np.minimum(1.0, FARTHEST * _edge_lengths(part)[:, None] / np.maximum(length, 1e-30))
        vertices = mesh.vertices.copy()
        vertices[index[moved]] = (start[index] + step)[moved]
        mesh = replace(mesh, vertices=vertices)
        folded = folded_faces(mesh)
    return mesh, first


def _edge_lengths(mesh: TriangleMesh) -> Floats:
    """(n,) mean length of the edges at each vertex."""
    corners = mesh.vertices[mesh.faces].astype(float)
    total, count = np.zeros(len(mesh.vertices)), np.zeros(len(mesh.vertices))
    for corner in range(3):
        for other in ((corner + 1) % 3, (corner + 2) % 3):
            total += np.bincount(
                mesh.faces[:, corner], np.linalg.norm(corners[:, corner] - corners[:, other], axis=1), len(total)
            )
            count += np.bincount(mesh.faces[:, corner], minlength=len(total))
    return total / np.maximum(count, 1.0)


def _touching(mesh: TriangleMesh, faces: Ints) -> Ints:
    """Indices of the faces that share a vertex with some (k, 3)."""
    mine = np.zeros(len(mesh.vertices), bool)
    mine[faces] = True
    return np.flatnonzero(mine[mesh.faces].any(axis=1))


def _part(mesh: TriangleMesh, faces: Ints) -> tuple[TriangleMesh, Ints]:
    """Some faces as a mesh of their own, and which vertices of the whole are its vertices."""
    index, corner = np.unique(mesh.faces[faces], return_inverse=True)
    return TriangleMesh(mesh.vertices[index], corner.reshape(-1, 3).astype(mesh.faces.dtype)), index
