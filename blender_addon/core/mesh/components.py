"""Which parts of a mesh hang together? Connected components by label propagation on whole arrays.

Each vertex starts as its own parent. Rounds hook the larger of two joined roots under the smaller, jump pointers until every
vertex points at its root, and throw away the edges whose ends have met (Shiloach and Vishkin, *An O(log n) parallel
connectivity algorithm*, J. Algorithms 3, 1982). Parents only ever get smaller, so no cycle can form.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Ints


def connected_vertices(faces: Ints, count: int) -> Ints:
    """Component of each vertex: (count,) int64 labels 0.. in the order of the components' first vertices.

    faces: (m, 3) vertex indices. Vertices that no face uses are components of their own.
    """
    first = np.concatenate([faces[:, 0], faces[:, 1]]).astype(np.int64)
    second = np.concatenate([faces[:, 1], faces[:, 2]]).astype(np.int64)
    return connected_nodes(first, second, count)


def connected_nodes(first: Ints, second: Ints, count: int) -> Ints:
    """Component of each of `count` nodes joined by the edges first (e,), second (e,): labels as in `connected_vertices`."""
    parent: Ints = np.arange(count, dtype=np.int64)
    turn = 0
    while len(first):
        low, high = np.minimum(first, second), np.maximum(first, second)
        if turn % 2 == 0:
            parent[high] = low  # any of several writers is a valid smaller parent
        else:
            np.minimum.at(parent, high, low)  # now and then the smallest, which bounds the number of rounds
        parent = _flattened(parent)
        first, second = parent[first], parent[second]
        open_edges = first != second
        first, second = first[open_edges], second[open_edges]
        if turn >= 2 and len(first):
            keys = np.unique(np.minimum(first, second) * count + np.maximum(first, second))
            first, second = keys // count, keys % count
        turn += 1
    is_root = parent == np.arange(count)
    return (np.cumsum(is_root) - 1)[parent]


def _flattened(parent: Ints) -> Ints:
    while True:
        jumped = parent[parent]
        if np.array_equal(jumped, parent):
            return parent
        parent = jumped


def connected_faces(faces: Ints, count: int) -> tuple[Ints, int]:
    """Component of each face: (m,) int64 labels 0..k-1, and k. Faces that share a vertex hang together."""
    if not len(faces):
        return np.zeros(0, np.int64), 0
    labels = connected_vertices(faces, count)[faces[:, 0]]
    used, inverse = np.unique(labels, return_inverse=True)
    return inverse.reshape(-1).astype(np.int64), len(used)
