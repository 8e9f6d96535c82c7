"""Which point is nearest, approximately, for millions of queries at once? A grid that stores a near point for each cell."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats, Ints


class ClosestGrid:
    """For each cell of a grid round the points, the number of the point nearest to the cell's middle.

    Filled by jump flooding along one axis after the other (Rong & Tan 2006), so that now and then a neighbour of the
    nearest point is returned; a query costs one look-up. points: (n, 3). pad: share of the longest side added all round.
    """

    def __init__(self, points: Floats, *, cells: int = 48, pad: float = 0.15):
        low, high = points.min(axis=0), points.max(axis=0)
        margin = pad * float((high - low).max())
        self.low = low - margin
        self.cell = float((high - low).max() + 2 * margin) / cells
        self.shape = np.maximum(1, np.ceil((high - low + 2 * margin) / self.cell).astype(int))
        index = np.full(self.shape, -1, np.int32)
        place = self._cells(points)
        index[place[..., 0], place[..., 1], place[..., 2]] = np.arange(len(points))
        axes = [np.arange(count) for count in self.shape]
        middles = (np.stack(np.meshgrid(*axes, indexing="ij"), -1) + 0.5) * self.cell + self.low
        self.index = _flooded(index, middles.astype(np.float32), points.astype(np.float32))

    def _cells(self, points: Floats) -> Ints:
        place = ((points - self.low.astype(points.dtype)) * points.dtype.type(1.0 / self.cell)).astype(np.int32)
        return np.clip(place, 0, (self.shape - 1).astype(np.int32))

    def nearest(self, points: Floats) -> Ints:
        """(...,) number of an almost nearest point for queries (..., 3); those outside ask the border cell."""
        place = self._cells(points)
        flat = (place[..., 0] * int(self.shape[1]) + place[..., 1]) * int(self.shape[2]) + place[..., 2]
        return self.index.ravel()[flat]


def _flooded(index: Ints, middles: Floats, points: Floats) -> Ints:
    distance = _squares(middles, points, index)
    stride = 1 << max(int(np.ceil(np.log2(max(index.shape)))) - 1, 0)
    strides = [stride >> k for k in range(stride.bit_length())] + [1]
    for stride in strides:
        for axis in range(3):
            if stride >= index.shape[axis]:
                continue
            for sign in (1, -1):
                here: list[slice] = [slice(None)] * 3
                there: list[slice] = [slice(None)] * 3
                here[axis], there[axis] = slice(stride, None), slice(None, -stride)
                if sign < 0:
                    here, there = there, here
                own, other = tuple(here), tuple(there)
                asked = index[other]
                far = _squares(middles[own], points, asked)
                better = far < distance[own]
                np.copyto(index[own], asked, where=better)
                np.copyto(distance[own], far, where=better)
    return index


def _squares(middles: Floats, points: Floats, index: Ints) -> Floats:
    """Squared distance of each middle to the point with its number, inf for -1."""
    offset = points[index]
    offset -= middles
    return np.where(index >= 0, np.einsum("...i,...i", offset, offset), np.float32(np.inf))
