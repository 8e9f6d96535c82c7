"""How far up are the walls of an upright piece regular, either plane or round about a vertical axis?

A plinth, a plate or a turned socle has such walls up to where something else begins; a body, a skirt or a rock has none, and a
goblet, a box or a bottle has them to the top. In each slice: the share of the side faces that lie in a few vertical planes with
the directions of the base's edges, or that face away from one axis at one distance from it.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..records import record

SLICES = 100
"""Slices over the whole height."""
DIRECTIONS = 90
"""Bins of the direction that a wall faces, 4 degrees each."""
STRAY = 0.012
"""How far faces of one wall may lie off it, as a share of the breadth: noise, chips and tool marks of a hand-made stand."""
LEAST_WALL = 0.08
"""Least share of the side faces in a wall; a circle has 0.033 of its faces in three bins."""
STRAIGHT, TURNED = 0.68, 0.82
"""Share of a slice's side faces from which it is regular, by kind. Set on synthetic pieces and our labelled scans: the walls of
stands gave 0.7 to 1 and 0.9 to 1, bodies up to 0.5, rocks up to 0.7 of what a turned form would."""
GAP = 3
"""Longest run of irregular slices that may be a chip or a rounded moulding."""


@record
class Walls:
    """Regular walls from the ground up. straight, turned: (SLICES,) shares of each slice's side faces (nan where there are
    none) that run regularly that way. top: height to which the better of the two runs without a break, in the mesh's unit; 0
    where there is none. kind: 'straight', 'turned' or ''. axis: (2,) of the turned walls."""

    straight: Floats
    turned: Floats
    top: float
    kind: str
    axis: Floats

    def share(self, kind: str, height: float, low: float, high: float) -> float:
        """Mean regular share (0 to 1), of a kind, of the slices between two heights of a thing `height` tall.

        low, high: the two heights.
        """
        values = self.turned if kind == "turned" else self.straight
        middle = (np.arange(SLICES) + 0.5) / SLICES * height
        chosen = values[(middle >= low) & (middle <= high)]
        chosen = chosen[np.isfinite(chosen)]
        return float(chosen.mean()) if len(chosen) else 0.0


def regular_walls(centre: Floats, normal: Floats, area: Floats, height: float) -> Walls:
    """The regular walls of a piece that stands on z = 0: faces by centre (m, 3), smoothed normal (m, 3) and area (m,).

    height: of the piece, in the unit of the centres.
    """
    side = np.hypot(normal[:, 0], normal[:, 1]) > 0.3
    place, facing, weight = centre[side], normal[side], area[side]
    facing = facing[:, :2] / np.maximum(np.linalg.norm(facing[:, :2], axis=1, keepdims=True), 1e-12)
    number = np.clip((place[:, 2] / max(height, 1e-12) * SLICES).astype(int), 0, SLICES - 1)
    straight, turned = np.full(SLICES, np.nan), np.full(SLICES, np.nan)
    base = number < 3
    if base.sum() < 12:
        return Walls(straight, turned, 0.0, "", np.zeros(2))
    direction = (np.arctan2(facing[:, 1], facing[:, 0]) / (2.0 * np.pi) * DIRECTIONS).astype(int) % DIRECTIONS
    wanted = _main_directions(direction[base], weight[base])
    axis = upright_axis(place[base, :2], facing[base], weight[base])
    breadth = float(np.ptp(place[base, :2], axis=0).max())
    order = np.argsort(number, kind="stable")
    ends = np.searchsorted(number[order], np.arange(SLICES + 1))
    for level in range(SLICES):
        near = order[ends[max(level - 1, 0)] : ends[min(level + 2, SLICES)]]
        if not len(near):
            continue
        own = number[near] == level
        if not own.any():
            continue
        total = weight[near][own].sum()
        planar = _planar(place[near, :2], facing[near], direction[near], weight[near], breadth) & wanted[direction[near]]
        straight[level] = weight[near][own & planar].sum() / total
        off = place[near, :2] - axis
        radius = np.maximum(np.linalg.norm(off, axis=1), 1e-12)
        outward = np.abs(np.einsum("ij,ij->i", off, facing[near])) / radius > 0.95
        turned[level] = weight[near][own & outward].sum() / total
    tops = {"straight": _run(straight, STRAIGHT), "turned": _run(turned, TURNED)}
    kind = max(tops, key=lambda name: tops[name])
    top = tops[kind] / SLICES * height
    return Walls(straight, turned, top, kind if top else "", axis)


def upright_axis(points: Floats, facing: Floats, weight: Floats) -> Floats:
    """(2,) the point that lines through points (k, 2) along unit directions (k, 2) pass nearest to, by weighted least
    squares."""
    across = np.stack([-facing[:, 1], facing[:, 0]], axis=1)
    matrix = np.einsum("k,ki,kj->ij", weight, across, across) + 1e-9 * weight.sum() * np.eye(2)
    right = np.einsum("k,ki,k->i", weight, across, np.einsum("ki,ki->k", across, points))
    return np.linalg.solve(matrix, right + 1e-9 * weight.sum() * np.average(points, axis=0, weights=weight))


def _main_directions(direction: Ints, weight: Floats) -> Bools:
    """(DIRECTIONS,) which directions the walls of a base face."""
    found = np.bincount(direction, weight, DIRECTIONS)
    smooth = found + np.roll(found, 1) + np.roll(found, -1)
    main = smooth >= LEAST_WALL * weight.sum()
    return main | np.roll(main, 1) | np.roll(main, -1)


def _planar(points: Floats, facing: Floats, direction: Ints, weight: Floats, breadth: float) -> Bools:
    """(k,) which faces lie in a vertical plane that holds at least `LEAST_WALL` of all: a peak over direction and distance."""
    distance = np.floor(np.einsum("ij,ij->i", points, facing) / max(STRAY * breadth, 1e-12)).astype(int)
    distance -= distance.min() - 1
    peaks = np.zeros((DIRECTIONS, int(distance.max()) + 2))
    np.add.at(peaks, (direction, distance), weight)
    smooth = peaks + np.roll(peaks, 1, 0) + np.roll(peaks, -1, 0)
    smooth = smooth + np.roll(smooth, 1, 1) + np.roll(smooth, -1, 1)
    return smooth[direction, distance] >= LEAST_WALL * weight.sum()


def _run(values: Floats, least: float) -> int:
    """How many slices from the ground are regular, gaps of at most `GAP` among them allowed."""
    top, gap = 0, 0
    for level, value in enumerate(values):
        if not np.isfinite(value):
            continue
        if value >= least:
            top, gap = level + 1, 0
        else:
            gap += 1
            if gap > GAP:
                break
    reached = values[:top][np.isfinite(values[:top])]
    return top if len(reached) and float(reached.mean()) >= least else 0


def planar_share(centre: Floats, normal: Floats, area: Floats) -> tuple[float, float]:
    """Shares (0 to 1) of steep faces (k, 3) that lie in a few upright planes, and that look away from one upright axis."""
    flat = np.linalg.norm(normal[:, :2], axis=1)
    used = flat > 0.3
    if used.sum() < 12:
        return 0.0, 0.0
    facing = normal[used, :2] / flat[used, None]
    place, weight = centre[used, :2], area[used]
    direction = (np.arctan2(facing[:, 1], facing[:, 0]) / (2.0 * np.pi) * DIRECTIONS).astype(int) % DIRECTIONS
    planar = _planar(place, facing, direction, weight, float(np.ptp(place, axis=0).max()))
    off = place - upright_axis(place, facing, weight)
    outward = np.abs(np.einsum("ij,ij->i", off, facing)) / np.maximum(np.linalg.norm(off, axis=1), 1e-12) > 0.95
    total = weight.sum()
    return float(weight[planar].sum() / total), float(weight[outward].sum() / total)
