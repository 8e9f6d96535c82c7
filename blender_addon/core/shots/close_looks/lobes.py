"""Into which lobes is a form divided, and how narrow are the necks between them? A head, a body, a paw, from the solid alone.

The solid is filled into a grid, each cell gets its distance to the surface, and each cell climbs to the thickest place that
it can reach: cells that climb to the same place form a basin, and two basins meet at a saddle, the thickest passage between
them. The basins' maximum spanning tree over those saddles holds every neck: cutting one of its edges leaves two lobes
(watershed and persistence of the distance transform; Edelsbrunner, Letscher and Zomorodian, Discrete Comput. Geom. 28, 2002).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...arrays import Bools, Floats, Ints
from ...mesh.triangles import TriangleMesh
from ...records import record

CELLS = 88
"""Cells along the longest side. A statuette's neck is then about four cells thick."""
DEEPEST = 40
"""Largest distance that is computed, in cells: about half of the grid."""


@record
class Solid:
    """A form as a grid of cubes. low: (3,) the grid's lowest corner. cell: edge of a cube. inside: (x, y, z) bool. depth: (x,
    y, z) distance to the surface in cells, 0 outside."""

    low: Floats
    cell: float
    inside: Bools
    depth: Floats

    def places(self, index: Ints) -> Floats:
        """(k, 3) middles of cells by their flat numbers."""
        return self.low + (np.stack(np.unravel_index(index, self.inside.shape), axis=1) + 0.5) * self.cell

    def number(self, points: Floats) -> Ints:
        """(k,) flat number of the cell that each point (k, 3) lies in, or is nearest to."""
        place = np.floor((np.asarray(points, float) - self.low) / self.cell).astype(np.int64)
        place = np.clip(place, 0, np.array(self.inside.shape) - 1)
        return np.ravel_multi_index(tuple(place.T), self.inside.shape)


@record
class Neck:
    """An edge of the tree, by which a lobe is joined to the rest. basins: (b,) bool, which basins the lobe holds. width: radius
    of the neck over that of the lobe's thickest place. place: (3,) of the neck."""

    basins: Bools
    width: float
    place: Floats


@record
class Lobes:
    """basin: (x, y, z) int of each cell, -1 outside. peaks: (b, 3) thickest places. radius: (b,) their distance to the surface,
    in the mesh's unit. volume: (b,) in cells. necks: every edge of the tree, twice: once for the lobe on either side."""

    solid: Solid
    basin: Ints
    peaks: Floats
    radius: Floats
    volume: Floats
    necks: tuple[Neck, ...]


def solid_of(mesh: TriangleMesh, cells: int = CELLS) -> Solid:
    """The grid of a closed mesh; of an open one only what its surface encloses."""
    vertices = np.asarray(mesh.vertices, float)
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    cell = max(float((high - low).max()) / cells, 1e-12)
    shape = np.ceil((high - low) / cell).astype(int) + 5
    low = low - 2.0 * cell
    shell = np.zeros(shape, bool)
    place = np.floor((_dense(vertices[mesh.faces], 0.7 * cell) - low) / cell).astype(np.int64)
    shell[tuple(np.clip(place, 0, shape - 1).T)] = True
    inside = ~_outside(shell)
    return Solid(low, cell, inside, _depth(inside))


def _dense(corners: Floats, step: float) -> Floats:
    """Points (k, 3) on triangles (m, 3, 3), at most about `step` apart, on a regular grid in each."""
    longest = np.linalg.norm(corners - np.roll(corners, 1, axis=1), axis=2).max(axis=1)
    parts = np.clip(np.ceil(longest / step).astype(int), 1, 256)
    found = [corners.reshape(-1, 3)]
    for count in np.unique(parts):
        a, b = np.meshgrid(np.arange(count + 1), np.arange(count + 1), indexing="ij")
        keep = a + b <= count
        weights = np.stack([a[keep], b[keep], count - a[keep] - b[keep]], axis=1) / count
        if count > 1:
            found.append(np.einsum("kw,mwd->mkd", weights, corners[parts == count]).reshape(-1, 3))
    return np.concatenate(found)


def _outside(shell: Bools) -> Bools:
    """The cells that can be reached from the grid's corner without crossing the shell, by sweeps along the axes."""
    free = ~shell
    reached = np.zeros_like(free)
    reached[0], reached[-1], reached[:, 0], reached[:, -1], reached[:, :, 0], reached[:, :, -1] = (True,) * 6
    reached &= free
    while True:
        before = int(reached.sum())
        for axis in range(3):
            for flipped in (False, True):
                view = np.flip(reached, axis) if flipped else reached
                open_ = np.flip(free, axis) if flipped else free
                lines, way = np.moveaxis(view, axis, 0), np.moveaxis(open_, axis, 0)
                for row in range(1, len(lines)):
                    lines[row] |= lines[row - 1] & way[row]
        if int(reached.sum()) == before:
            return reached


def _depth(inside: Bools) -> Floats:
    """Distance of each cell inside to the nearest cell outside, in cells, up to `DEEPEST`: exact, axis by axis."""
    square = np.where(inside, np.float32(DEEPEST**2), np.float32(0.0))
    for axis in range(3):
        lines = np.moveaxis(square, axis, 0)
        out = lines.copy()
        for shift in range(1, min(DEEPEST, len(lines) - 1) + 1):
            far = np.float32(shift * shift)
            if far >= out.max():
                break
            np.minimum(out[shift:], lines[:-shift] + far, out=out[shift:])
            np.minimum(out[:-shift], lines[shift:] + far, out=out[:-shift])
        square = np.moveaxis(out, 0, axis)
    return np.sqrt(square)


def lobes_of(solid: Solid) -> Lobes:
    """The basins of a solid and the necks between them."""
    depth = solid.depth
    basin_flat, tops = _basins(depth)
    inside = np.flatnonzero(solid.inside.ravel())
    number = np.full(depth.size, -1, np.int64)
    number[inside] = np.searchsorted(tops, basin_flat[inside])
    basin = number.reshape(depth.shape)
    peaks, radius = solid.places(tops), depth.ravel()[tops] * solid.cell
    volume = np.bincount(number[inside], minlength=len(tops)).astype(float)
    necks = _necks(solid, basin, depth.ravel()[tops], tops)
    return Lobes(solid, basin, peaks, radius, volume, necks)


SHIFTS = [(x, y, z) for x in (-1, 0, 1) for y in (-1, 0, 1) for z in (-1, 0, 1) if (x, y, z) > (0, 0, 0)]
"""One of each two opposite neighbours of a cell."""


def _basins(depth: Floats) -> tuple[Ints, Ints]:
    """(cells,) the top that each cell reaches by climbing to its deepest neighbour, and all tops inside, sorted."""
    flat = np.arange(depth.size).reshape(depth.shape)
    # A little of the neighbours' mean decides between cells of one depth, so that plateaus do not fall apart.
    height = depth + 1e-3 * _mean(depth)
    best, target = height.copy(), flat.copy()
    for shift in SHIFTS:
        for sign in (1, -1):
            ahead, here = _slices(shift, sign)
            better = height[ahead] > best[here]
            best[here] = np.where(better, height[ahead], best[here])
            target[here] = np.where(better, flat[ahead], target[here])
    way = target.ravel()
    while True:
        further = way[way]
        if np.array_equal(further, way):
            break
        way = further
    return way, np.unique(way[np.flatnonzero(depth.ravel() > 0)])


def _mean(values: Floats) -> Floats:
    for axis in range(3):
        values = (np.roll(values, 1, axis) + values + np.roll(values, -1, axis)) / 3.0
    return values


def _slices(shift: tuple[int, int, int], sign: int) -> tuple[tuple[slice, ...], tuple[slice, ...]]:
    """Slices of a grid's cells and of their neighbours one step along `shift`."""
    ahead, here = [], []
    for step in shift:
        step *= sign
        ahead.append(slice(max(step, 0), step if step < 0 else None))
        here.append(slice(max(-step, 0), -step if step > 0 else None))
    return tuple(ahead), tuple(here)


def _necks(solid: Solid, basin: Ints, tops: Floats, numbers: Ints) -> tuple[Neck, ...]:
    """The maximum spanning tree over the saddles, each edge as the lobes on both of its sides."""
    ends, heights, places = _saddles(solid, basin)
    count = len(tops)
    parent = np.arange(count)

    def root(node: int) -> int:
        while parent[node] != node:
            parent[node] = parent[parent[node]]
            node = int(parent[node])
        return node

    tree: list[tuple[int, int, float, int]] = []
    for place in np.argsort(-heights, kind="stable"):
        first, second = (root(int(end)) for end in ends[place])
        if first != second:
            parent[first] = second
            tree.append((int(ends[place, 0]), int(ends[place, 1]), float(heights[place]), int(places[place])))
    beside: list[list[tuple[int, int]]] = [[] for _ in range(count)]
    for number, (first, second, _, _) in enumerate(tree):
        beside[first].append((second, number))
        beside[second].append((first, number))
    order, size, from_edge, part = _walked(beside)
    where = np.argsort(order)
    found = []
    for number, (first, second, height, place) in enumerate(tree):
        child = first if from_edge[first] == number else second
        below = np.zeros(count, bool)
        below[order[where[child] : where[child] + size[child]]] = True
        above = (part == part[child]) & ~below
        for start in (first, second):
            held = below if start == child else above
            found.append(Neck(held, height / max(float(tops[held].max()), 1e-9), solid.places(np.array([place]))[0]))
    return tuple(found)


def _walked(beside: Sequence[Sequence[tuple[int, int]]]) -> tuple[Ints, Ints, Ints, Ints]:
    """A walk through trees, each node before those behind it: what lies behind a node follows it without a gap.

    beside: (other node, edge) of each node. Returns the order (n,) of the nodes; and, of each node, how many lie behind it,
    itself counted, the edge that led to it (-1: none), and the node at which its tree was entered.
    """
    count = len(beside)
    order, size = [], np.ones(count, int)
    from_edge, before, part = (np.full(count, -1) for _ in range(3))
    for entered in range(count):
        todo = [entered] if part[entered] < 0 else []
        while todo:
            here = todo.pop()
            order.append(here)
            part[here] = entered
            for other, edge in beside[here]:
                if edge != from_edge[here]:
                    from_edge[other], before[other] = edge, here
                    todo.append(other)
    for here in reversed(order):
        if before[here] >= 0:
            size[before[here]] += size[here]
    return np.array(order, int), size, from_edge, part


def _saddles(solid: Solid, basin: Ints) -> tuple[Ints, Floats, Ints]:
    """Pairs of basins (e, 2) that touch, the depth (e,) of the best way between them in cells, and the cell (e,) of it."""
    flat = np.arange(basin.size).reshape(basin.shape)
    keys, heights, places = [], [], []
    count = int(basin.max()) + 1
    for shift in SHIFTS:
        ahead, here = _slices(shift, 1)
        lower, upper = basin[here], basin[ahead]
        across = (lower != upper) & (lower >= 0) & (upper >= 0)
        low, high = np.minimum(lower[across], upper[across]), np.maximum(lower[across], upper[across])
        keys.append(low * count + high)
        heights.append(np.minimum(solid.depth[here][across], solid.depth[ahead][across]))
        places.append(flat[here][across])
    key, height, place = np.concatenate(keys), np.concatenate(heights), np.concatenate(places)
    order = np.lexsort((-height, key))
    first = np.r_[True, key[order][1:] != key[order][:-1]] if len(key) else np.zeros(0, bool)
    chosen = order[first]
    return np.stack([key[chosen] // count, key[chosen] % count], axis=1), height[chosen], place[chosen]
