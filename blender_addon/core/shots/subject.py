"""What is photographed? The subject as points: their positions and normals, and where the relief is richest."""

from __future__ import annotations

from functools import cached_property

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..records import record


@record
class Subject:
    """The subject's points in mm, z up, standing on z = 0, its front towards -Y.

    outline: (n, 3) all points of piece and stand, for framing. points, normals: (k, 3) a thinned sample of
    the piece's points. richness: (k,) how much there is to see at each, in any positive unit. unshown: (k,) bool, points that
    no close look is to show: filled, cut, beside missing data, deep inside a vessel.
    """

    outline: Floats
    points: Floats
    normals: Floats
    richness: Floats
    unshown: Bools | None = None

    @cached_property
    def height(self) -> float:
        return float(np.ptp(self.points[:, 2]))

    @cached_property
    def width(self) -> float:
        return float(np.ptp(self.points[:, :2], axis=0).max())

    @property
    def middle(self) -> Floats:
        """(3,) middle of the piece's box."""
        return 0.5 * (self.points.min(axis=0) + self.points.max(axis=0))

    @property
    def upright(self) -> bool:
        """Whether it stands like a figure, taller than wide, so that a face is to be looked for near the top."""
        return self.height > 0.9 * self.width

    def band(self, low: float, high: float) -> Bools:
        """(k,) which points lie between two shares of the piece's height."""
        bottom = float(self.points[:, 2].min())
        share = (self.points[:, 2] - bottom) / max(self.height, 1e-9)
        return (share >= low) & (share <= high)


def thinned(count: int, most: int, seed: int = 1) -> Ints:
    """Indices of at most `most` of `count` points, drawn at random, in rising order."""
    if count <= most:
        return np.arange(count)
    return np.sort(np.random.default_rng(seed).choice(count, most, replace=False))


def cells_of(points: Floats, size: float) -> tuple[Ints, int]:
    """(n,) number of the cube cell of edge `size` that each point lies in, and how many cells are used."""
    place = np.floor((points - points.min(axis=0)) / size).astype(np.int64)
    span = place.max(axis=0) + 1
    key = (place[:, 0] * span[1] + place[:, 1]) * span[2] + place[:, 2]
    kept, number = np.unique(key, return_inverse=True)
    return number.reshape(-1), len(kept)


def richness_of(points: Floats, normals: Floats, *, heights: Floats | None = None, size_mm: float | None = None) -> Floats:
    """(n,) how rich the relief is round each point: scatter of the recovered heights (mm), else of the normals, in its cell.

    In a cell of a smooth curved surface the normals scatter little; edges, folds and tooling make it large. Surfaces that face
    different directions are put in different cells: the two sides of something thin are not relief.
    """
    size = size_mm or max(float(np.ptp(points, axis=0).max()) / 24.0, 1e-6)
    main = np.abs(normals).argmax(axis=1)
    faced = 2 * main + (np.take_along_axis(normals, main[:, None], axis=1)[:, 0] > 0)

    def parted() -> tuple[Ints, int]:
        kept, number = np.unique(6 * cells_of(points, size)[0] + faced, return_inverse=True)
        return number.reshape(-1), len(kept)

    cell, count = parted()
    members = np.maximum(np.bincount(cell, minlength=count), 1)
    for _ in range(6):  # on a coarse mesh the cells grow until most points share theirs with others
        if size_mm or (members[cell] >= 4).mean() > 0.8:
            break
        size *= 1.4
        cell, count = parted()
        members = np.maximum(np.bincount(cell, minlength=count), 1)
    columns = normals if heights is None else np.asarray(heights, float)[:, None]
    spread = np.zeros(count)
    for column in columns.T:
        mean = np.bincount(cell, column, count) / members
        spread += np.bincount(cell, column * column, count) / members - mean * mean
    spread[members < 4] = 0.0
    return np.sqrt(np.maximum(spread, 0.0))[cell]
