"""How are points spread over a surface so that no two are closer than a given distance? Dart throwing in rounds, on arrays.

Candidates are drawn by area (and density) in rounds. Within a round a candidate is accepted when it comes before all undecided
candidates that it conflicts with, and these are then rejected; so the result is the one that throwing them one after another
would give, on any machine (a maximal independent set in random order, M. Luby, SIAM J. Computing 15, 1986). Later rounds are
only compared with accepted points. Distances are exact: no two accepted points conflict.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from ..arrays import Bools, Floats, Ints
from .triangles import face_areas, faces_by_area, weights_within

_TABLE = 6_000_000
"""Cells up to which a whole table of them is held in memory, which is faster than searching."""


class Thrower:
    """Throws random points on a mesh, evenly by area or by a density.

    vertices (n, 3), faces (m, 3) in any unit; density (n,) a vertex, 0 to 1, linear on the faces.
    """

    def __init__(self, vertices: Floats, faces: Ints, density: Floats | None = None):
        vertices, faces = np.asarray(vertices, float), np.asarray(faces)
        self.corner, self.side, self.other = (
            vertices[faces[:, 0]], vertices[faces[:, 1]] - vertices[faces[:, 0]], vertices[faces[:, 2]] - vertices[faces[:, 0]],
        )  # fmt: skip
        area = face_areas(vertices, faces)
        self.at_corner = None if density is None else np.clip(np.asarray(density, float), 0.0, 1.0)[faces]
        self.most = np.ones(len(faces)) if self.at_corner is None else self.at_corner.max(axis=1, initial=0.0)
        mean = np.ones(len(faces)) if self.at_corner is None else self.at_corner.mean(axis=1)
        self.integral = float((area * mean).sum())
        self.sum = np.cumsum(area * self.most)

    def throw(self, count: int, rng: np.random.Generator) -> tuple[Floats, Ints, Floats, Floats]:
        """At most `count` points: places, faces, barycentrics, density there."""
        face = faces_by_area(self.sum, rng.random(count))
        weights = weights_within(rng.random(count), rng.random(count))
        dense = np.ones(count)
        if self.at_corner is not None:
            dense = np.einsum("ij,ij->i", self.at_corner[face], weights)
            kept = rng.random(count) * self.most[face] < dense
            face, weights, dense = face[kept], weights[kept], dense[kept]
        points = self.corner[face]
        points += weights[:, 1:2] * self.side[face]
        points += weights[:, 2:] * self.other[face]
        return points, face, weights, dense


def accepted(points: Floats, reach: Floats, taken: Floats, taken_reach: Floats, *, together: bool) -> Bools:
    """Which points can be added to those already taken, earlier points before later ones: (n,) bool.

    points: (n, 3), reach: (n,). taken: (k, 3), taken_reach: (k,): the points that are there already. Reaches are in
    the points' unit.
    together: two conflict when nearer than the sum of their reaches (discs); otherwise than the greater (distances).
    """
    free = np.ones(len(points), bool)
    if len(taken):
        mine, _ = conflicts(points, reach, taken, taken_reach, together=together)
        free[mine] = False
    where = np.flatnonzero(free)
    first, second = conflicts(points[where], reach[where], None, None, together=together)
    stays = np.zeros(len(points), bool)
    stays[where[_independent(len(where), first, second)]] = True
    return stays


def _independent(count: int, first: Ints, second: Ints) -> Ints:
    """The set that taking candidates 0, 1, 2... in turn would give, skipping each that conflicts with one taken before."""
    state = np.zeros(count, np.int8)  # 0 undecided, 1 stays, 2 struck out
    high, low = np.minimum(first, second), np.maximum(first, second)
    while len(high):
        beaten = np.zeros(count, bool)
        beaten[low] = True
        wins = (state == 0) & ~beaten
        state[low[wins[high]]] = 2
        state[wins] = 1
        open_pairs = (state[high] == 0) & (state[low] == 0)
        high, low = high[open_pairs], low[open_pairs]
    return np.flatnonzero(state != 2)


def conflicts(
    points: Floats, reach: Floats, others: Floats | None, others_reach: Floats | None, *, together: bool
) -> tuple[Ints, Ints]:
    """Pairs (index into points, index into others) in conflict; pairs among the points themselves, once each, if others is
    None.

    points: (n, 3), reach: (n,). others: (k, 3) or None, others_reach: (k,). together: as for `accepted`.
    Reaches may differ widely: points are sorted into classes of reach, and a pair is found in the grid of the larger class.
    """
    alone = others is None
    base, base_reach = (points, reach) if others is None or others_reach is None else (others, others_reach)
    if not len(points) or not len(base):
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    least = max(min(float(reach.min()), float(base_reach.min())), 1e-12)
    spread = max(float(reach.max()), float(base_reach.max())) / least
    classes = np.zeros(len(points), np.int64), np.zeros(len(base), np.int64)
    top = 0
    if spread > 1.0 + 1e-9:
        classes = tuple(np.ceil(2 * np.log2(np.maximum(r / least, 1.0)) - 1e-9).astype(np.int64) for r in (reach, base_reach))
        top = int(max(classes[0].max(), classes[1].max()))
    found: list[tuple[Ints, Ints]] = []
    for rank in range(top + 1):
        cell = least * 2 ** (rank / 2) * (2.0 if together else 1.0)
        a, b = np.flatnonzero(classes[0] == rank), np.flatnonzero(classes[1] <= rank)
        if len(a) and len(b):
            i, j = _close(_Discs(points, reach), a, _Discs(base, base_reach), b, cell, together=together)
            if alone:
                once = (classes[0][j] < rank) | (i < j)
                i, j = i[once], j[once]
            found.append((i, j))
        if not alone:
            a, b = np.flatnonzero(classes[0] < rank), np.flatnonzero(classes[1] == rank)
            if len(a) and len(b):
                found.append(_close(_Discs(points, reach), a, _Discs(base, base_reach), b, cell, together=together))
    if not found:
        return np.zeros(0, np.int64), np.zeros(0, np.int64)
    return np.concatenate([pair[0] for pair in found]), np.concatenate([pair[1] for pair in found])


class _Discs(NamedTuple):
    """Points (n, 3) and the reach (n,) of each."""

    points: Floats
    reach: Floats


def _close(mine: _Discs, a: Ints, other: _Discs, b: Ints, cell: float, *, together: bool) -> tuple[Ints, Ints]:
    """Conflicting pairs between two subsets, none of them farther than `cell` apart, by a grid of that cell."""
    points, reach, base, base_reach = *mine, *other
    cell = cell * (1 + 1e-9)
    low = np.minimum(points[a].min(axis=0), base[b].min(axis=0)) - 1.01 * cell
    high = np.maximum(points[a].max(axis=0), base[b].max(axis=0))
    size = ((high - low) / cell).astype(np.int64) + 3
    axes = np.argsort(size)[::-1]  # the longest axis outermost, so that neighbours lie near in memory
    size = size[axes]
    key_a, key_b = (_keys(entry, low, cell, axes, size) for entry in (points[a], base[b]))
    order_a, order = np.argsort(key_a, kind="stable"), np.argsort(key_b, kind="stable")
    a, key_a, b, key_b = a[order_a], key_a[order_a], b[order], key_b[order]
    near_a, near_b = points[a], base[b]
    reach_a, reach_b = reach[a], base_reach[b]
    total = int(np.prod(size))
    table = np.concatenate([[0], np.cumsum(np.bincount(key_b, minlength=total))]) if total < _TABLE else None
    found_a, found_b = [], []
    for out in (-1, 0, 1):
        for middle in (-1, 0, 1):
            row = key_a + (out * size[1] + middle) * size[2]
            if table is not None:
                start, end = table[row - 1], table[row + 2]
            else:
                start, end = np.searchsorted(key_b, row - 1, "left"), np.searchsorted(key_b, row + 1, "right")
            many = end - start
            i = np.repeat(np.arange(len(a)), many)
            j = np.arange(len(i)) - np.repeat(np.cumsum(many) - many - start, many)
            gap = near_a[i] - near_b[j]
            apart = np.einsum("ij,ij->i", gap, gap)
            limit = reach_a[i] + reach_b[j] if together else np.maximum(reach_a[i], reach_b[j])
            hit = apart < limit * limit
            found_a.append(i[hit])
            found_b.append(j[hit])
    return a[np.concatenate(found_a)], b[np.concatenate(found_b)]


def _keys(points: Floats, low: Floats, cell: float, axes: Ints, size: Ints) -> Ints:
    place = ((points - low) / cell).astype(np.int64)
    return (place[:, axes[0]] * size[1] + place[:, axes[1]]) * size[2] + place[:, axes[2]]
