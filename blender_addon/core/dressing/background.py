"""Does an edge in the background meet the subject's head in a picture? What hangs or stands at each wall is shifted
until as few as possible do.

A post or the side of a panel that seems to grow out of a head is the first thing a photographer moves (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import Floats
from ..shots.framing import project
from ..shots.sight import ShotView, convex_outline
from .tangency import softness

HEAD, SHOULDERS, LESS = 0.7, 0.45, 0.3
"""Shares of the outline's height in the frame above which it counts as the head, and as what is just below it, and what an edge
counts there. Set by eye."""

NEAR = 0.06
"""Distance from the head within which an edge counts, in half widths of the frame."""

GONE = 0.3
"""Radius of blur, in half widths of the frame, above which an edge is no longer seen as one."""

SHIFTS_MM, LIFTS_MM = tuple(range(-360, 361, 120)), tuple(range(-160, 161, 40))
"""How far what hangs or stands at a wall is moved along it and up, mm."""


def quiet_shift(parts: Sequence[tuple[Floats, Floats]], views: Sequence[ShotView]) -> Floats:
    """(2,) how far the parts at a wall are moved along it and up, mm, so that the fewest of their edges meet a head.

    parts: for each object that can't be removed its points (n, 3) mm, and the directions (1 or 2, 3) in which it can be moved:
    along the wall, and up where it hangs. Of equally good shifts the smallest is taken. Turntable shots are ignored, since
    their subject turns.
    """
    still = [view for view in views if view.kind != "turntable" and len(view.outline) >= 3]
    tried = sorted(
        (np.array([aside, lift], float) for aside in SHIFTS_MM for lift in LIFTS_MM), key=lambda way: float(way @ way)
    )
    costs: list[float] = []
    for shift in tried:
        placed = [points + moved_along(ways, shift) for points, ways in parts]
        costs.append(round(sum(edges_at_head(placed, view) for view in still), 6))
        if costs[-1] == 0.0:
            break
    return tried[int(np.argmin(costs))]


def moved_along(ways: Floats, shift: Floats) -> Floats:
    """(3,) mm: a shift (2,) along the wall and up, as far as it is one of the directions (1 or 2, 3)."""
    ways = np.atleast_2d(ways)
    return np.asarray(shift[: len(ways)] @ ways, float)


def edges_at_head(parts: Sequence[Floats], view: ShotView) -> float:
    """How many of the parts' outlines meet the subject's head in a shot, weighted less the more it is blurred."""
    low = max(float(view.outline[:, 1].min()), -view.half_slopes[1])  # of a close look what lies in the frame
    high = min(float(view.outline[:, 1].max()), view.half_slopes[1])
    share = np.linspace(0.0, 1.0, 16, endpoint=False)[:, None, None]
    ring = (view.outline + share * (np.roll(view.outline, -1, axis=0) - view.outline)).reshape(-1, 2)
    ring = ring[(ring[:, 1] >= low + SHOULDERS * (high - low)) & (ring[:, 1] <= high)]
    if not len(ring):
        return 0.0
    head = ring[:, 1] >= low + HEAD * (high - low)
    total = 0.0
    for points in parts:
        slopes, depth = project(points, view.position, view.rotation)
        if not (depth > max(view.subject_far_mm, 1e-6)).all() or not _may_meet(slopes, ring, view):
            continue
        reach = NEAR * view.half_slopes[0]
        met = boundary_distance(ring, convex_outline(slopes)) < reach
        if met.any():
            total += (1.0 if met[head].any() else LESS) * max(0.0, 1.0 - softness(depth, view) / GONE)
    return total


def _may_meet(slopes: Floats, head: Floats, view: ShotView) -> bool:
    margin = NEAR * view.half_slopes[0]
    return bool(
        (slopes.min(axis=0) <= head.max(axis=0) + margin).all() and (slopes.max(axis=0) >= head.min(axis=0) - margin).all()
    )


def boundary_distance(points: Floats, polygon: Floats) -> Floats:
    """Distance (n,) of points (n, 2) from the boundary of a polygon (k, 2), inside or outside."""
    edge = np.roll(polygon, -1, axis=0) - polygon
    long = np.maximum(np.einsum("ij,ij->i", edge, edge), 1e-30)
    offset = points[:, None] - polygon[None]
    share = np.clip(np.einsum("nkj,kj->nk", offset, edge) / long, 0.0, 1.0)
    return np.linalg.norm(offset - share[..., None] * edge[None], axis=2).min(axis=1)
