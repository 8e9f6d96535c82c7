"""Does an edge in the background meet the subject's head in a picture? What hangs or stands at each wall is shifted
until as little as possible does, and what still does is left out.

A post or a shelf that seems to grow out of a head is the first thing a photographer moves (common practice).
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from ..arrays import Bools, Floats
from ..mesh.triangles import TriangleMesh, face_crosses, unit
from ..records import record
from ..shots.framing import project
from ..shots.sight import ShotView
from .tangency import COLUMNS, softness

HEAD, LESS = 0.7, 0.3
"""Share of the subject's height in the frame above which it counts as the head, and what an edge counts that meets it below.
In a close look all that the frame shows is the head. Set by eye."""

NEAR = 0.09
"""Distance from the head within which an edge counts, in half heights of the frame: 4.5 % of its height, so that none is within
3 % whichever way that is measured. A choice."""

GONE = 0.3
"""Radius of blur, in half widths of the frame, above which an edge is no longer seen as one. Set by eye."""

SHIFTS_MM, LIFTS_MM = tuple(range(-360, 361, 60)), tuple(range(-160, 161, 32))
"""How far what hangs or stands at a wall is moved along it and up, mm, in a room of the usual size. Shelves hang 280 mm apart
or more."""

SAMPLES = 64
"""Points of an edge that are looked at between the sides of the frame: nearer to each other than `NEAR`."""

Hides = Callable[[Floats, Floats], Bools]
"""Which of the points (n, 3) mm something hides from a lens at (3,) mm."""


@record
class Hung:
    """What hangs or stands together at a wall, by its edges.

    ends : (n, 2, 3) mm. normals : (n, 2, 3) outward normals of the two sides that meet in each edge.
    ways : (1 or 2, 3) directions in which it can be moved: along the wall, and up where it hangs.
    """

    ends: Floats
    normals: Floats
    ways: Floats


def quiet_arrangement(
    things: Sequence[Hung], views: Sequence[ShotView], *, scale: float = 1.0, hides: Hides | None = None
) -> tuple[Floats, list[bool]]:
    """(2,) how far the things at a wall are moved along it and up, mm, so that the fewest of them meet a head; and which of
    them then meet none. What still meets one is to be left out.

    views: with the subject's outlines; turntable shots are ignored, since their subject turns. scale: how much larger than
    usual the room is. hides: what lies before the wall, such as the table. Of equally good shifts the smallest is taken.
    """
    still = [head for view in views if view.kind != "turntable" and (head := _Head.of(view)) is not None]
    tried = scale * np.array([(aside, lift) for aside in SHIFTS_MM for lift in LIFTS_MM], float)
    tried = tried[np.argsort((tried**2).sum(axis=1), kind="stable")]
    if not things or not still:
        return np.zeros(2), [True] * len(things)
    costs = np.array([_costs(thing, tried, still, hides) for thing in things])  # (things, shifts)
    best = int(np.argmin(np.round(costs.sum(axis=0), 6)))
    return tried[best], [bool(cost < 1.0) for cost in costs[:, best]]


def moved_along(ways: Floats, shift: Floats) -> Floats:
    """(3,) mm: a shift (2,) along the wall and up, as far as it is one of the directions (1 or 2, 3)."""
    ways = np.atleast_2d(ways)
    return np.asarray(shift[: len(ways)] @ ways, float)


def box_edges(mesh: TriangleMesh) -> tuple[Floats, Floats]:
    """(12, 2, 3) ends of the edges, and (12, 2, 3) normals of the sides that meet in them, of the box round a mesh.

    The mesh's largest faces lie along the box's sides.
    """
    crosses = face_crosses(mesh.vertices, mesh.faces)
    area = np.linalg.norm(crosses, axis=1)
    first = unit(crosses[int(area.argmax())])
    level = np.where(np.abs(crosses @ first) < 0.1 * area, area, 0.0)
    second = unit(crosses[int(level.argmax())])
    second = unit(second - (second @ first) * first)
    axes = np.stack([first, second, np.cross(first, second)])
    along = np.asarray(mesh.vertices, float) @ axes.T
    low, high = along.min(axis=0), along.max(axis=0)
    ends, normals = [], []
    for axis in range(3):
        across, beyond = (axis + 1) % 3, (axis + 2) % 3
        for a in (0, 1):
            for b in (0, 1):
                pair = np.zeros((2, 3))
                pair[:, across], pair[:, beyond] = (low, high)[a][across], (low, high)[b][beyond]
                pair[:, axis] = low[axis], high[axis]
                ends.append(pair @ axes)
                normals.append([(2 * a - 1) * axes[across], (2 * b - 1) * axes[beyond]])
    return np.array(ends), np.array(normals)


@record
class _Head:
    """The subject in a shot: its signed distances in the frame's cells, as of `tangency.outline_in_frame`, and the row from
    which it counts as the head."""

    view: ShotView
    distance: Floats
    from_row: float

    @classmethod
    def of(cls, view: ShotView) -> _Head | None:
        """None where the shot does not show the subject."""
        if not view.outlines:
            return None
        distance = view.outlines[0]
        rows = np.flatnonzero((distance <= 0.0).any(axis=1))
        if not len(rows):
            return None
        share = 0.0 if view.kind == "detail" else HEAD
        return cls(view, distance, float(rows[0] + share * (rows[-1] - rows[0])))


def _costs(thing: Hung, tried: Floats, heads: Sequence[_Head], hides: Hides | None) -> Floats:
    """(k,) what a thing costs at each of the shifts (k, 2): at least 1 where it meets a head."""
    moves = np.array([moved_along(thing.ways, shift) for shift in tried])
    unlike, place = np.unique(np.round(moves, 3), axis=0, return_inverse=True)
    total = np.zeros(len(unlike))
    for head in heads:
        total += _met(thing, unlike, head, hides)
    return total[place.reshape(-1)]


def _met(thing: Hung, moves: Floats, head: _Head, hides: Hides | None) -> Floats:
    """(k,) 1 for each of the moves (k, 3) mm at which an edge meets the head, less where it meets what is below."""
    view, found = head.view, np.zeros(len(moves))
    ends = thing.ends[None] + moves[:, None, None]  # (k, n, 2, 3)
    facing = (np.einsum("knc,nsc->kns", view.position - ends.mean(axis=2), thing.normals) > 0.0).any(axis=2)
    ends, behind = _beyond(ends, view)
    slopes, depth = (
        values.reshape(*ends.shape[:3], -1) for values in project(ends.reshape(-1, 3), view.position, view.rotation)
    )
    start, way, seen = _within_frame(slopes / np.array(view.half_slopes))
    move, edge = np.nonzero(facing & behind & seen)
    if not len(move):
        return found
    share = np.linspace(0.0, 1.0, SAMPLES)
    frame = start[move, edge, None] + share[:, None] * way[move, edge, None]  # (m, SAMPLES, 2), in half frames
    soft = softness(depth[move, edge].mean(axis=1), view)
    rows = head.distance.shape[0]
    row = np.clip(np.floor((frame[..., 1] + 1.0) * 0.5 * rows), 0, rows - 1).astype(int)
    column = np.clip(np.floor((frame[..., 0] + 1.0) * 0.5 * COLUMNS), 0, COLUMNS - 1).astype(int)
    reach = NEAR * view.half_slopes[1] / view.half_slopes[0] + soft
    near = np.abs(head.distance[row, column]) < reach + 1.0 / COLUMNS
    if hides is not None and near.any():
        near &= ~_hidden(frame, depth[move, edge, :, 0], (slopes[move, edge], view), hides)
    upper = row >= head.from_row - 0.5 * reach * COLUMNS
    weight = max(0.0, 1.0 - soft / GONE)
    cost = np.where((near & upper).any(axis=1), float(weight > 0.0), np.where(near.any(axis=1), LESS * weight, 0.0))
    np.maximum.at(found, move, cost)
    return found


def _beyond(ends: Floats, view: ShotView) -> tuple[Floats, Bools]:
    """The part of each segment (..., 2, 3) mm that lies farther from the lens than the subject, and whether there is one."""
    least = max(view.subject_far_mm, 1.0)
    depth = (ends - view.position) @ view.axis
    share = (least - depth[..., 0]) / np.where(np.abs(np.diff(depth)[..., 0]) > 1e-9, np.diff(depth)[..., 0], 1.0)
    met = ends[..., 0, :] + np.clip(share, 0.0, 1.0)[..., None] * (ends[..., 1, :] - ends[..., 0, :])
    near = depth <= least
    return np.where(near[..., None], met[..., None, :], ends), ~near.all(axis=-1)


def _hidden(frame: Floats, depth: Floats, seen: tuple[Floats, ShotView], hides: Hides) -> Bools:
    """Which points (m, k, 2), in half frames, of edges are hidden. depth: (m, 2) mm of their ends. seen: the ends' slopes
    (m, 2, 2), and the shot."""
    ends, view = seen
    slopes = frame * np.array(view.half_slopes)
    axis = np.abs(ends[:, 1] - ends[:, 0]).argmax(axis=1)
    at, first, last = (
        np.take_along_axis(slopes, axis[:, None, None], axis=2)[..., 0],
        *(np.take_along_axis(ends[:, k], axis[:, None], axis=1) for k in (0, 1)),
    )
    share = (at - first) / np.where(np.abs(last - first) > 1e-12, last - first, 1.0)
    far = 1.0 / ((1.0 - share) / depth[:, :1] + share / depth[:, 1:])  # depth is linear in its inverse
    points = view.position + far[..., None] * (view.axis + slopes @ view.rotation[:, :2].T)
    return hides(view.position, points.reshape(-1, 3)).reshape(frame.shape[:2])


def _within_frame(ends: Floats) -> tuple[Floats, Floats, Bools]:
    """Start and extent (..., 2) of the part of each segment (..., 2, 2) inside the square from -1 to 1, and whether there is
    one: clipping by parameters (Liang and Barsky, ACM Trans. Graphics 3, 1984)."""
    start, way = ends[..., 0, :], ends[..., 1, :] - ends[..., 0, :]
    flat = np.abs(way) < 1e-12
    rate = np.where(flat, 1.0, way)
    low, high = np.minimum((-1.0 - start) / rate, (1.0 - start) / rate), np.maximum((-1.0 - start) / rate, (1.0 - start) / rate)
    inside = np.abs(start) <= 1.0
    low = np.where(flat, np.where(inside, -np.inf, np.inf), low).max(axis=-1).clip(0.0)
    high = np.where(flat, np.where(inside, np.inf, -np.inf), high).min(axis=-1).clip(None, 1.0)
    seen = low < high
    low, high = np.where(seen, low, 0.0), np.where(seen, high, 0.0)
    return start + low[..., None] * way, (high - low)[..., None] * way, seen
