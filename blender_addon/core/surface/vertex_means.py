"""Means over the neighbourhood of each vertex of a mesh: over its ring, over patches of some mm, or as heat spreads."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, Ints
from ..records import record


@record
class MeansConstants:
    """Numbers of the means."""

    lattices: int = 3
    """Lattices of patches, shifted against each other, whose mean shows none of them."""
    smallest: float = 1e-3
    """Coefficients of `Ring.spread` that are left out, as a part of the largest."""
    degree: int = 512
    """Coefficients of `Ring.spread` that are looked at: enough for some 20,000 steps."""


MEANS = MeansConstants()


@record
class Ring:
    """The neighbours of every vertex in one row; `starts`: where each one's begin, `degree`: how many they are."""

    around: Ints
    starts: Ints
    degree: Ints

    @classmethod
    def of(cls, pairs: Ints, count: int) -> Ring:
        ends = np.concatenate([pairs[:, 0], pairs[:, 1]])
        others = np.concatenate([pairs[:, 1], pairs[:, 0]])
        degree = np.bincount(ends, minlength=count)
        starts = np.cumsum(degree) - degree
        return cls(others[np.argsort(ends, kind="stable")], starts, degree)

    def averaged(self, values: Floats, rounds: int = 1) -> Floats:
        """(n,) values, each round half its own and half the mean of its neighbours'; the lonely keep theirs."""
        met = self.degree > 0
        starts, degree = self.starts[met], self.degree[met]
        out = np.array(values, float)
        for _ in range(rounds if met.any() else 0):
            out[met] = 0.5 * out[met] + 0.5 * np.add.reduceat(out[self.around], starts) / degree
        return out

    def spread(self, values: Floats, rounds: float) -> Floats:
        """(n, k) values as a random walk of so many steps, at random times, along the edges spreads them; the lonely keep
        theirs.

        rounds: expected number of steps t; a Gaussian of variance t e^2 / 2 along each axis where edges are e long. The result
        exp(-t (1 - P)) v, P the mean of the neighbours, is written in Chebyshev polynomials of P, of which some
        sqrt(14 t) are needed instead of t rounds (Hammond, Vandergheynst & Gribonval 2011).
        """
        met = self.degree > 0
        starts, degree = self.starts[met], self.degree[met][:, None]

        def stepped(rows: Floats) -> Floats:
            out = np.array(rows)
            out[met] = np.add.reduceat(rows[self.around], starts, axis=0) / degree
            return out

        angles = np.pi * (np.arange(2048) + 0.5) / 2048
        shares = np.array([np.mean(np.exp(-rounds * (1 - np.cos(angles))) * np.cos(k * angles)) for k in range(MEANS.degree)])
        shares[1:] *= 2.0
        count = int(np.flatnonzero(np.abs(shares) >= MEANS.smallest * shares.max())[-1]) + 1
        before = np.asarray(values, np.float32)
        if not met.any() or count == 1:
            return before
        now = stepped(before)
        total: Floats = (shares[0] * before + shares[1] * now) / shares[:count].sum()
        for share in shares[2:count] / shares[:count].sum():
            before, now = now, 2.0 * stepped(now) - before
            total += np.float32(share) * now
        return total


def over_patches(values: Floats, vertices: Floats, normals: Floats, pairs: Ints, size: float) -> Floats:
    """(n,) the values (n,) averaged over about three times `size`.

    vertices, normals: (n, 3), in the unit of `size`. pairs: (e, 2) vertices that share an edge.
    """
    total = np.zeros(len(vertices))
    for lattice in range(MEANS.lattices):
        patch, joined = patches_of(vertices, normals, pairs, size, lattice / MEANS.lattices)
        total += Ring.of(joined, int(patch.max()) + 1).averaged(means_of(values, patch), 2)[patch]
    return total / MEANS.lattices


def means_of(values: Floats, patch: Ints) -> Floats:
    """(p,) means of values (n,) over patches (n,)."""
    return np.bincount(patch, values) / np.bincount(patch)


def patches_of(vertices: Floats, normals: Floats, pairs: Ints, size: float, shift: float) -> tuple[Ints, Ints]:
    """(n,) patch of each vertex and (k, 2) which patches touch; the two sides of a thin part are patches of their own.

    vertices, normals: (n, 3). pairs: (e, 2) vertices that share an edge. size: edge of a patch, in the vertices' unit.
    shift: 0 to 1, by how much of a patch the lattice is shifted.
    """
    side = np.abs(normals).argmax(axis=1)
    side = 2 * side + (np.take_along_axis(normals, side[:, None], axis=1)[:, 0] > 0)
    cell = np.floor(vertices / size + shift).astype(np.int64)
    cell -= cell.min(axis=0)
    spans = cell.max(axis=0) + 1
    code = ((cell[:, 0] * spans[1] + cell[:, 1]) * spans[2] + cell[:, 2]) * 6 + side
    _, patch = np.unique(code, return_inverse=True)
    patch = patch.reshape(-1)
    ends = np.sort(patch[pairs], axis=1)
    count = int(patch.max()) + 1
    joined = np.unique(ends[ends[:, 0] != ends[:, 1]] @ np.array([count, 1]))
    return patch, np.column_stack([joined // count, joined % count])
