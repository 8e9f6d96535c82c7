"""Does a prop just touch the subject's outline in a picture? It should stand clear of it, or plainly behind it.

Two outlines that meet in one point or run along each other look joined, and the picture loses depth (common practice: a
"tangent", or "false attachment").
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..shots.framing import project
from ..shots.sight import ShotView

COLUMNS = 96
"""Cells across the frame in which an outline is kept: one is 1 % of the picture's width."""
GAP, OVERLAP = 0.06, 0.12
"""In half widths of the frame: the gap from which two outlines are clear of each other, and the overlap from which one is
plainly behind the other."""
LEAST_SEEN = 0.02
"""Share of a prop's points that must lie in the frame for it to count as visible."""


def outline_in_frame(points: Floats, view: ShotView) -> Floats:
    """(rows, columns) signed distance of each cell of a view's frame from the outline of points (n, 3) mm on the subject.

    In half widths of the frame: positive beside it, negative behind it; all infinite where none is in the frame.
    """
    rows = max(2, round(COLUMNS * view.half_slopes[1] / view.half_slopes[0]))
    slopes, depth = project(points, view.position, view.rotation)
    column, row, inside = _cells(slopes[depth > 0], view, rows)
    covered = np.zeros((rows + 2, COLUMNS + 2), bool)
    covered[row[inside] + 1, column[inside] + 1] = True
    for axis in (0, 1):  # single empty cells between points are part of it
        covered |= np.roll(covered, 1, axis) & np.roll(covered, -1, axis)
    covered = covered[1:-1, 1:-1]
    if not covered.any():
        return np.full((rows, COLUMNS), np.inf)
    padded = np.pad(covered, 1, mode="edge")  # the outline has no edge where it leaves the frame
    around = padded[:-2, 1:-1] & padded[2:, 1:-1] & padded[1:-1, :-2] & padded[1:-1, 2:]
    edge = np.argwhere(covered & ~around).astype(float)
    if not len(edge):
        return np.full((rows, COLUMNS), -np.inf)
    places = np.argwhere(np.ones_like(covered)).astype(float)
    least = np.full(len(places), np.inf)
    for start in range(0, len(edge), 64):
        part = edge[start : start + 64]
        square = ((places[:, None, 0] - part[:, 0]) ** 2 + (places[:, None, 1] - part[:, 1]) ** 2).min(axis=1)
        least = np.minimum(least, square)
    distance = np.sqrt(least).reshape(covered.shape) * 2.0 / COLUMNS
    return np.where(covered, -distance, distance)


def softness(depth: Floats, view: ShotView) -> float:
    """Radius of the blur at depths (n,) mm > 0, the middle of them, in half widths of the frame."""
    blur = 0.5 * view.aperture_mm * np.abs(1.0 / depth - 1.0 / view.focus_mm) / view.half_slopes[0]
    return float(np.median(blur))


def tangency(points: Floats, view: ShotView) -> float:
    """0 to 1: how nearly a prop's points (n, 3) mm just touch the subject's outline in a shot, at worst over its frames.

    An object out of focus ends where its blur ends. One that just peeks out from behind the subject touches it, too.
    """
    if not view.outlines:
        return 0.0
    slopes, depth = project(points, view.position, view.rotation)
    rows = view.outlines[0].shape[0]
    column, row, inside = _cells(slopes, view, rows)
    inside &= depth > 0
    if inside.mean() < LEAST_SEEN:
        return 0.0
    soft = softness(depth[inside], view)
    worst = 0.0
    for distance in view.outlines:
        found = distance[row[inside], column[inside]]
        nearest, deepest, farthest = float(found.min()), float(-found.min()), float(found.max())
        if nearest > 0.0:
            touch = 1.0 - (nearest - soft) / GAP
        else:
            touch = max(1.0 - deepest / OVERLAP, 1.0 - farthest / GAP if farthest > 0.0 else 0.0)
        worst = max(worst, touch)
    return float(np.clip(worst, 0.0, 1.0))


def _cells(slopes: Floats, view: ShotView, rows: int) -> tuple[Ints, Ints, Bools]:
    """Column and row of each of the slopes (n, 2), and which lie in the frame."""
    column = np.floor((slopes[:, 0] / view.half_slopes[0] + 1.0) * 0.5 * COLUMNS)
    row = np.floor((slopes[:, 1] / view.half_slopes[1] + 1.0) * 0.5 * rows)
    inside = (column >= 0) & (column < COLUMNS) & (row >= 0) & (row < rows)
    return np.where(inside, column, 0).astype(int), np.where(inside, row, 0).astype(int), inside
