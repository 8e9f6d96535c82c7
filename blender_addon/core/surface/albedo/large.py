"""How is a quantity spread over the surface at large? Means on a grid round it, apart for each way that it faces."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats, Ints
from ...records import record


@record
class LargeConstants:
    """Numbers of the averages at large."""

    most_nodes: int = 64
    """Nodes a side; a large piece gets a coarser grid, to bound the time."""


LARGE = LargeConstants()


class LargeMeans:
    """The grid round `vertices` (v, 3) with unit `normals` (v, 3), its mesh `edge_mm` wide."""

    def __init__(self, vertices: Floats, normals: Floats, edge_mm: float):
        self._taps = _taps(vertices, normals, edge_mm)
        self._size = 1 + max(int(node.max()) for node, _ in self._taps)

    def of(self, values: Floats, weights: Floats) -> Floats:
        """(v,) means of `values` (v,) by `weights` (v,) >= 0 at the nodes, read at the vertices."""
        total, share = (
            sum(np.bincount(node, part * entry, self._size) for node, part in self._taps)
            for entry in (values * weights, weights)
        )
        level = total / np.maximum(share, 1e-9)
        return sum(level[node] * part for node, part in self._taps)


def _taps(vertices: Floats, normals: Floats, edge_mm: float) -> list[tuple[Ints, Floats]]:
    """Nodes of a grid round each vertex and their shares, which make 1: trilinear by place, squares of the normal by side."""
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    place = (vertices - low) / max(edge_mm, float((high - low).max()) / LARGE.most_nodes)
    cell = np.floor(place).astype(np.int64)
    part, size = place - cell, cell.max(axis=0) + 2
    taps = []
    for corner in np.ndindex(2, 2, 2):
        at = cell + corner
        node = (at[:, 0] * size[1] + at[:, 1]) * size[2] + at[:, 2]
        near = np.prod(np.where(corner, part, 1 - part), axis=1)
        for axis in range(3):
            side = 2 * axis + (normals[:, axis] > 0)
            taps.append((6 * node + side, near * np.square(normals[:, axis])))
    return taps
