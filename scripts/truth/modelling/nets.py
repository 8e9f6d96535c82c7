"""From a field in space to a fine mesh: surface nets on a grid, quads split in four, points drawn onto the surface."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

Floats = Any
Ints = Any
Field = Callable[[Floats], Floats]
"""(n, 3) points in mm to (n,) signed distances, negative inside."""


def sampled(field: Field, low: Floats, high: Floats, step: float, *, coarse: int = 4) -> tuple[Floats, Floats]:
    """The field on a grid (nx, ny, nz) and the grid's origin (3,). Exact near the surface, a coarser guess far from it."""
    low = np.asarray(low, float)
    shape = coarse * np.ceil((np.asarray(high, float) - low) / (step * coarse)).astype(int) + 1
    rough = shape // coarse + 1
    points = low + step * coarse * np.stack(np.meshgrid(*[np.arange(n) for n in rough], indexing="ij"), -1).reshape(-1, 3)
    guess = field(points).reshape(rough)
    near = np.abs(guess) < 1.6 * step * coarse
    for axis in range(3):
        near = near | np.roll(near, 1, axis) | np.roll(near, -1, axis)
    spread = [
        np.minimum(np.arange(n) // coarse + (np.arange(n) % coarse > coarse // 2), rough[a] - 1) for a, n in enumerate(shape)
    ]
    picked = np.ix_(*spread)
    values, wanted = guess[picked].copy(), near[picked]
    index = np.argwhere(wanted)
    exact = np.concatenate([field(low + step * part) for part in np.array_split(index, max(1, len(index) // 400_000))])
    values[wanted] = exact
    return values, low


def surface_nets(values: Floats, origin: Floats, step: float, level: float = 0.0) -> tuple[Floats, Ints]:
    """Vertices (n, 3) and quads (m, 4), outward where the values rise, of the level set of a grid.

    Gibson 1998, "Constrained elastic surface nets": one vertex a cell, at the mean of its edges' crossings.
    """
    field = values - level
    inside = field < 0.0
    shape = np.array(field.shape)
    cells = np.zeros(shape - 1, np.int8)
    for i in range(2):
        for j in range(2):
            for k in range(2):
                cells += inside[i : shape[0] - 1 + i, j : shape[1] - 1 + j, k : shape[2] - 1 + k]
    mixed = (cells > 0) & (cells < 8)
    cell = np.argwhere(mixed)
    number = np.full(shape - 1, -1, np.int64)
    number[mixed] = np.arange(len(cell))
    total, count = np.zeros((len(cell), 3)), np.zeros(len(cell))
    quads = []
    for axis in range(3):
        next_axis, last_axis = (axis + 1) % 3, (axis + 2) % 3
        step_along = np.eye(3, dtype=int)[axis]
        for a in range(2):
            for b in range(2):
                corner = cell + a * np.eye(3, dtype=int)[next_axis] + b * np.eye(3, dtype=int)[last_axis]
                here, there = field[tuple(corner.T)], field[tuple((corner + step_along).T)]
                crossed = (here < 0) != (there < 0)
                share = here[crossed] / (here[crossed] - there[crossed])
                total[crossed] += (corner - cell)[crossed] + share[:, None] * step_along
                count[crossed] += 1
        first = [slice(None)] * 3
        second = [slice(None)] * 3
        first[axis], second[axis] = slice(0, -1), slice(1, None)
        edge = np.argwhere(inside[tuple(first)] != inside[tuple(second)])
        edge = edge[
            np.all(
                (edge[:, [next_axis, last_axis]] > 0) & (edge[:, [next_axis, last_axis]] < shape[[next_axis, last_axis]] - 1),
                axis=1,
            )
        ]
        ring = [
            edge - a * np.eye(3, dtype=int)[next_axis] - b * np.eye(3, dtype=int)[last_axis]
            for a, b in ((0, 0), (1, 0), (1, 1), (0, 1))
        ]
        quad = np.stack([number[tuple(corner.T)] for corner in ring], axis=1)
        outward = inside[tuple(edge.T)]
        quads.append(np.where(outward[:, None], quad, quad[:, ::-1]))
    vertices = np.asarray(origin) + step * (cell + total / np.maximum(count, 1)[:, None])
    return vertices, np.concatenate(quads)


def split_quads(vertices: Floats, quads: Ints) -> tuple[Floats, Ints]:
    """Each quad in four: a vertex in the middle of each edge and of each quad."""
    count = len(vertices)
    pairs = np.sort(np.stack([quads, np.roll(quads, -1, axis=1)], axis=-1), axis=-1).reshape(-1, 2)
    keys, index = np.unique(pairs[:, 0] * count + pairs[:, 1], return_inverse=True)
    middles = 0.5 * (vertices[keys // count] + vertices[keys % count])
    centres = vertices[quads].mean(axis=1)
    edge = count + index.reshape(-1, 4)
    centre = count + len(keys) + np.arange(len(quads))
    parts = [np.stack([quads[:, k], edge[:, k], centre, edge[:, k - 1]], axis=1) for k in range(4)]
    return np.concatenate([vertices, middles, centres]), np.concatenate(parts)


def gradient(field: Field, points: Floats, step: float = 0.02) -> Floats:
    """(n, 3) gradient of the field by forward differences on a tetrahedron (four samples a point)."""
    corners = np.array([[1, -1, -1], [-1, -1, 1], [-1, 1, -1], [1, 1, 1]], float)
    return sum(corner * field(points + step * corner)[:, None] for corner in corners) / (4.0 * step)


def drawn_onto(field: Field, vertices: Floats, *, rounds: int = 2, reach: float = 0.5) -> Floats:
    """The vertices moved along the field's first gradient onto its zero, at most about `reach` mm a round."""
    moved = []
    for part in np.array_split(vertices, max(1, len(vertices) // 200_000)):
        slope = gradient(field, part)
        slope /= np.maximum(np.linalg.norm(slope, axis=1, keepdims=True), 0.2) ** 2
        for _ in range(rounds):
            part = part - np.clip(field(part), -reach, reach)[:, None] * slope
        moved.append(part)
    return np.concatenate(moved)


def relaxed(vertices: Floats, quads: Ints, rounds: int = 1, share: float = 0.5) -> Floats:
    """The vertices drawn towards the mean of their neighbours."""
    for _ in range(rounds):
        vertices = vertices + share * (neighbour_mean(vertices, quads) - vertices)
    return vertices


def neighbour_mean(values: Floats, quads: Ints) -> Floats:
    """(n, k) mean of the values at the ends of the edges that leave each vertex."""
    values = np.asarray(values, float)
    flat = values.reshape(len(values), -1)
    total, count = np.zeros_like(flat), np.zeros(len(flat))
    for k in range(4):
        here, before, after = quads[:, k], quads[:, k - 1], quads[:, (k + 1) % 4]
        count += 2 * np.bincount(here, minlength=len(flat))
        for column in range(flat.shape[1]):
            total[:, column] += np.bincount(here, flat[before, column] + flat[after, column], len(flat))
    return (total / np.maximum(count, 1)[:, None]).reshape(values.shape)


def triangles(quads: Ints) -> Ints:
    """(2 m, 3) two triangles a quad."""
    return np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]])


def modelled(field: Field, low: Floats, high: Floats, *, step: float, splits: int) -> tuple[Floats, Ints]:
    """A fine quad mesh (vertices, quads) of the field's zero: nets at `step` mm, then `splits` rounds of four each."""
    values, origin = sampled(field, low, high, step)
    vertices, quads = surface_nets(values, origin, step)
    vertices = drawn_onto(field, relaxed(vertices, quads), rounds=2)
    for _ in range(splits):
        vertices, quads = split_quads(vertices, quads)
    vertices = drawn_onto(field, relaxed(vertices, quads, rounds=2), rounds=2)
    return vertices, quads
