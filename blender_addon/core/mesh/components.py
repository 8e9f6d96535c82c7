"""Which parts of a mesh are connected? Connected components by label propagation on whole arrays.

Each vertex starts as its own parent. Rounds hook the larger of two joined roots under the smaller, jump pointers until every
vertex points at its root, and throw away the edges whose ends have met (Shiloach and Vishkin, *An O(log n) parallel
connectivity algorithm*, J. Algorithms 3, 1982). Parents only ever get smaller, so no cycle can form. On a mesh the
first strips of faces already join most vertices, so that most later edges only have to be looked up (Sutton, Ben-Nun and Barak,
*Optimizing parallel graph connectivity computation via subgraph sampling*, IPDPS 2018).
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ..arrays import Ints

STRIP = 65_536
"""Faces handled at a time, so that the arrays made from them stay in the processor's cache."""


def connected_vertices(faces: Ints, count: int) -> Ints:
    """Component of each vertex: (count,) int64 labels 0.. in the order of the components' first vertices.

    faces: (m, 3) vertex indices. Vertices that no face uses are components of their own.
    """
    parent: Ints = np.arange(count, dtype=np.int64)
    for corners in _strips(faces):
        parent[np.maximum(corners[0], corners[1])] = np.minimum(corners[0], corners[1])
        parent[np.maximum(corners[1], corners[2])] = np.minimum(corners[1], corners[2])
    labels = _numbered(_flattened(parent))
    parts: Ints = np.arange(int(labels.max(initial=-1)) + 1, dtype=np.int64)
    waiting: list[tuple[Ints, Ints]] = []
    for corners in _strips(faces):
        near = parts[labels[corners]]
        waiting += [_apart(near[0], near[1]), _apart(near[1], near[2])]
        if sum(len(first) for first, _ in waiting) > len(parts):
            parts = _joined(parts, waiting)
            waiting = []
    return _numbered(_joined(parts, waiting))[labels]


def connected_nodes(first: Ints, second: Ints, count: int) -> Ints:
    """Component of each of `count` nodes joined by the edges first (e,), second (e,): labels as in `connected_vertices`."""
    return _numbered(_joined(np.arange(count, dtype=np.int64), [(first, second)]))


def _strips(faces: Ints) -> Iterator[Ints]:
    """The corners of the faces, (3, STRIP or fewer) at a time."""
    for start in range(0, len(faces), STRIP):
        yield faces[start : start + STRIP].T.astype(np.int64)


def _apart(first: Ints, second: Ints) -> tuple[Ints, Ints]:
    """The pairs whose two ends differ."""
    where = np.flatnonzero(first != second)
    return first[where], second[where]


def _joined(parent: Ints, edges: list[tuple[Ints, Ints]]) -> Ints:
    """The root of each node once the two ends of every edge share one; edges are given as (first, second) roots."""
    first, second = (np.concatenate([edge[end] for edge in edges] or [parent[:0]]) for end in (0, 1))
    count, turn = len(parent), 0
    while len(first):
        low, high = np.minimum(first, second), np.maximum(first, second)
        if turn % 2 == 0:
            parent[high] = low  # any of several writers is a valid smaller parent
        else:
            np.minimum.at(parent, high, low)  # now and then the smallest, which bounds the number of rounds
        parent = _flattened(parent)
        first, second = _apart(parent[first], parent[second])
        if turn >= 2 and len(first):
            keys = np.unique(np.minimum(first, second) * count + np.maximum(first, second))
            first, second = keys // count, keys % count
        turn += 1
    return parent


def _flattened(parent: Ints) -> Ints:
    """Every node's root instead of its parent."""
    while True:
        jumped = parent[parent]
        if np.array_equal(jumped[::64], parent[::64]) and np.array_equal(jumped, parent):  # a sample first
            return parent
        parent = jumped


def _numbered(root: Ints) -> Ints:
    """Labels 0.. of the nodes' roots, in the order of the roots."""
    is_root = root == np.arange(len(root))
    return (np.cumsum(is_root) - 1)[root]


def connected_faces(faces: Ints, count: int) -> tuple[Ints, int]:
    """Component of each face: (m,) int64 labels 0..k-1, and k. Faces that share a vertex are connected."""
    if not len(faces):
        return np.zeros(0, np.int64), 0
    labels = connected_vertices(faces, count)[faces[:, 0]]
    used, inverse = np.unique(labels, return_inverse=True)
    return inverse.reshape(-1).astype(np.int64), len(used)
