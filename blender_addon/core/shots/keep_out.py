"""Where on the table may nothing stand? The part that shots look across to the subject, and what lies close before a lens."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import Floats, Ints
from ..mesh.sections import hatching, level_lines
from .sight import ShotView, in_sight

CELLS = 120
"""Cells along a side of the square that is looked at."""
LINES = 45
"""Lines of the hatching across that square."""


def keep_out_lines(
    views: Sequence[ShotView], *, middle: Floats, half: float, level: float, tall: float
) -> tuple[Floats, Floats]:
    """(k, 2, 3) the border of what is kept free and (l, 2, 3) its hatching, mm, on the plane z = `level`.

    middle, half: middle (2,) and half the side of the square that is looked at, mm. tall: the height, mm, of an object that
    would stand there.
    """
    points, faces, cell = _square(middle, half, level)
    tops = points + np.array([0.0, 0.0, 0.5 * tall])
    seen = np.zeros(len(points), bool)
    for view in views:
        seen |= in_sight(tops, view, radius_mm=0.5 * tall)
    values = _softened(seen.astype(float))
    border = level_lines(points, faces, values, 0.5)
    inside = faces[(values[faces] >= 0.5).all(axis=1)]
    flat = np.array([0.0, 0.0, 1.0])
    across = np.array([1.0, 1.0, 0.0]) / np.sqrt(2.0)
    near = (level - cell, level + cell)
    return border, hatching(points, inside, axis=flat, across=across, depths=near, spacing=2.0 * half / LINES)


def _square(middle: Floats, half: float, level: float) -> tuple[Floats, Ints, float]:
    """The square as a grid: points (n, 3), triangles (m, 3), width of a cell."""
    along = np.linspace(-half, half, CELLS + 1)
    x, y = np.meshgrid(middle[0] + along, middle[1] + along, indexing="ij")
    points = np.stack([x.ravel(), y.ravel(), np.full(x.size, level)], axis=1)
    corner = (np.arange(CELLS)[:, None] * (CELLS + 1) + np.arange(CELLS)).ravel()
    a, b, c, d = corner, corner + CELLS + 1, corner + CELLS + 2, corner + 1
    return points, np.concatenate([np.stack([a, b, c], axis=1), np.stack([a, c, d], axis=1)]), 2.0 * half / CELLS


def _softened(values: Floats) -> Floats:
    """The means over three by three neighbours, so that the border runs smoothly between the cells."""
    grid = np.pad(values.reshape(CELLS + 1, CELLS + 1), 1, mode="edge")
    grid = grid[:-2] + grid[1:-1] + grid[2:]
    return ((grid[:, :-2] + grid[:, 1:-1] + grid[:, 2:]) / 9.0).ravel()
