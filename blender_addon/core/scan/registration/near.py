"""Which point is nearest, exactly, for thousands of queries at once? A list of near points for each cell, on arrays."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats, Ints
from .grid import ClosestGrid

LISTED = 10
"""Points listed a cell, those nearest to its middle: on a smooth surface, where one point falls in a cell of the spacing's
size, the nearest to any spot in it is one of eight or nine."""
MOST_CELLS = 3e6
"""Cells of the grid at most, to bound memory."""
STEPS = 2
"""Most lists that a query walks through."""
AT_ONCE = 4000
"""Queries handled at a time, so that their data stay in the processor's cache."""


class NearPoints:
    """Points spread over a surface, prepared for nearest-point queries.

    Each cell that the surface passes through, or lies beside, lists the points nearest to its middle, found among its own and
    its neighbours' (cells as in Bentley, Weide & Yao 1980). A query in such a cell searches its list. One farther off
    starts from the `coarse` grid's almost nearest point and walks from list to list while that brings it nearer, so that
    far from the surface now and then a neighbour of the nearest comes back.
    """

    def __init__(self, points: Floats, coarse: ClosestGrid, *, spacing: float):
        """points: (n, 3). coarse: over the first of them or all. spacing: how far apart they lie, in their unit."""
        self.points = np.asarray(points, float)
        self._coarse = coarse
        low, high = self.points.min(axis=0), self.points.max(axis=0)
        self._cell = max(spacing, float(np.cbrt(np.prod(high - low + 4.0 * spacing) / MOST_CELLS)), 1e-300)
        self._low = low - 1.5 * self._cell
        self._shape = np.ceil((high - low) / self._cell).astype(np.int64) + 4
        self._sides = (self._shape * self._cell).astype(np.float32)
        self._local = (self.points - self._low).astype(np.float32)
        self._lists, self._rows = self._listed()
        self._spots = self._local[self._rows]  # beside each other, so that a list is one piece of memory

    def _numbers(self, local: Floats) -> Ints:
        """(k,) number of the cell that a place (k, 3) lies in or, outside, is nearest to."""
        place = (local * np.float32(1.0 / self._cell)).astype(np.int32)
        np.clip(place, 0, (self._shape - 1).astype(np.int32), out=place)
        return (place[:, 0] * int(self._shape[1]) + place[:, 1]) * int(self._shape[2]) + place[:, 2]

    def _listed(self) -> tuple[Ints, Ints]:
        """(cells,) row of each cell's list, -1 for none; (rows, LISTED) numbers of points."""
        place = (self._local * np.float32(1.0 / self._cell)).astype(np.int32)
        around = np.stack(np.meshgrid(*[np.arange(-1, 2)] * 3, indexing="ij"), -1).reshape(-1, 3).astype(np.int32)
        beside = place[:, None] + around
        middle = (beside.astype(np.float32) + 0.5) * np.float32(self._cell)
        far = ((middle - self._local[:, None]) ** 2).sum(axis=2).ravel() / (8.0 * self._cell**2)
        cell = ((beside[..., 0] * int(self._shape[1]) + beside[..., 1]) * int(self._shape[2]) + beside[..., 2]).ravel()
        point = np.repeat(np.arange(len(place)), len(around))
        # One integer for each pair, so that a single sort orders them by cell, distance and point.
        bits = len(place).bit_length()
        pair = np.sort((cell.astype(np.int64) << (bits + 16)) | ((far * 65535.0).astype(np.int64) << bits) | point)
        cell, point = pair >> (bits + 16), (pair & ((1 << bits) - 1)).astype(np.int32)
        first = np.r_[True, cell[1:] != cell[:-1]]
        start = np.flatnonzero(first)
        row = np.cumsum(first) - 1
        rank = np.arange(len(cell)) - start[row]
        lists = np.repeat(point[start][:, None], LISTED, axis=1)
        listed = rank < LISTED
        lists[row[listed], rank[listed]] = point[listed]
        rows = np.full(int(np.prod(self._shape)), -1, np.int32)
        rows[cell[start]] = np.arange(len(start), dtype=np.int32)
        return rows, lists

    def __call__(self, queries: Floats) -> tuple[Ints, Floats]:
        """(k,) number of the nearest point to each of (k, 3) places, and (k,) distance."""
        queries = np.asarray(queries, float)
        index = np.concatenate([self._asked(queries[k : k + AT_ONCE]) for k in range(0, max(len(queries), 1), AT_ONCE)])
        offset = queries - self.points[index]
        return index, np.sqrt(np.einsum("ij,ij->i", offset, offset))

    def _asked(self, queries: Floats) -> Ints:
        local = (queries - self._low).astype(np.float32)
        row = self._lists[self._numbers(local)]
        row[np.logical_or.reduce([(local[:, k] < 0.0) | (local[:, k] > self._sides[k]) for k in range(3)])] = -1
        away = np.flatnonzero(row < 0)
        if len(away):
            row[away] = self._lists[self._numbers(self._local[self._coarse.nearest(queries[away])])]
        index, far = self._in_lists(local, row)
        away = np.flatnonzero(far > np.float32(self._cell**2))  # nearer ones would be in the list
        for _ in range(STEPS):
            if not len(away):
                break
            own = self._lists[self._numbers(self._local[index[away]])]
            found, nearer = self._in_lists(local[away], own)
            better = nearer < far[away]
            away, found, nearer = away[better], found[better], nearer[better]
            index[away], far[away] = found, nearer
        return index.astype(np.int64)

    def _in_lists(self, local: Floats, row: Ints) -> tuple[Ints, Floats]:
        offset = self._spots[row]
        offset -= local[:, None]
        square = np.einsum("kji,kji->kj", offset, offset)
        best = np.argmin(square, axis=1)
        return self._rows[row, best], square[np.arange(len(best)), best]
