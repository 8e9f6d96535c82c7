"""Does an edge in the background meet the subject's head in a picture? The room is shifted until as few as possible do.

A post or the side of a panel that seems to grow out of a head is the first thing a photographer moves (common practice).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import Floats
from ..mesh.triangles import unit
from ..shots.framing import project
from ..shots.sight import ShotView, convex_outline
from .tangency import softness

HEAD = 0.7
"""Share of the outline's height above which it counts as the head."""

NEAR = 0.06
"""Distance from the head within which an edge counts, in half widths of the frame."""

GONE = 0.3
"""Radius of blur, in half widths of the frame, above which an edge is no longer seen as one."""

SHIFTS_MM, LIFTS_MM = (0.0, 120.0, -120.0, 240.0, -240.0, 360.0, -360.0), (0.0, 80.0, -80.0, 160.0, -160.0)


def quiet_shift(parts: Sequence[tuple[Floats, Floats]], views: Sequence[ShotView]) -> Floats:
    """(3,) shift in mm, sideways to the hero's camera and up or down, with which the fewest edges of the parts meet a head.

    parts: for each object that can't be removed its points (n, 3) mm, and the directions (k, 3), at right angles, in which it
    can be moved. Of equally good shifts the smallest is taken. Turntable shots are ignored, since their subject turns.
    """
    still = [view for view in views if view.kind != "turntable" and len(view.outline) >= 3]
    lead = next((view for view in still if view.kind == "hero"), still[0] if still else None)
    if lead is None:
        return np.zeros(3)
    right = unit(np.array([lead.rotation[0, 0], lead.rotation[1, 0], 0.0]))
    shifts = sorted(
        (aside * right + [0.0, 0.0, lift] for aside in SHIFTS_MM for lift in LIFTS_MM), key=lambda shift: float(shift @ shift)
    )
    costs = []
    for shift in shifts:
        placed = [points + (np.atleast_2d(ways) @ shift) @ np.atleast_2d(ways) for points, ways in parts]
        costs.append(round(sum(edges_at_head(placed, view) for view in still), 6))
        if costs[-1] == 0.0:
            break
    return shifts[int(np.argmin(costs))]


def edges_at_head(parts: Sequence[Floats], view: ShotView) -> float:
    """How many of the parts' outlines meet the subject's head in a shot, weighted less the more it is blurred."""
    low, high = view.outline[:, 1].min(), view.outline[:, 1].max()
    share = np.linspace(0.0, 1.0, 16, endpoint=False)[:, None, None]
    ring = (view.outline + share * (np.roll(view.outline, -1, axis=0) - view.outline)).reshape(-1, 2)
    head = ring[ring[:, 1] >= low + HEAD * (high - low)]
    total = 0.0
    for points in parts:
        slopes, depth = project(points, view.position, view.rotation)
        if not (depth > max(view.subject_far_mm, 1e-6)).all() or not _may_meet(slopes, head, view):
            continue
        reach = NEAR * view.half_slopes[0]
        if boundary_distance(head, convex_outline(slopes)).min() < reach:
            total += max(0.0, 1.0 - softness(depth, view) / GONE)
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
