"""Is a thing in the way of a shot: before the subject, behind its outline, or as a scrap at the frame's edge?"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import Floats
from ..shots.framing import project
from ..shots.sight import ShotView, in_sight, outside_distance
from .tangency import softness

SHOWS = 0.05
"""Share of a prop that may show in front of the subject's feet in a shot other than the hero."""

NEAR = 0.06
"""Distance from the subject within which a thing far behind it seems to touch it, in half heights of the frame. Set by eye."""

SCRAP, UNSHARP = 0.25, 0.02
"""Visible share of a prop below which it is only a scrap, and radius of blur, in half widths of the frame, that hides its
shape."""


THROUGH = 0.08
"""Share of a prop that must show on each side of the subject for it to seem to run through it. Set by eye."""


def in_way(points: Floats, views: Sequence[ShotView]) -> tuple[str, ...]:
    """The shots whose sight lines the points cut, in which they lie unsharp before the subject or at the frame's edge, or in
    which they show on both sides of the subject."""
    found = [
        view.name
        for view in views
        if in_sight(points, view, radius_mm=1.0).any()
        or before_feet(points, view) > SHOWS
        or scrap_at_edge(points, view)
        or _runs_through(points, view)
    ]
    return tuple(dict.fromkeys(found))


def _runs_through(points: Floats, view: ShotView) -> bool:
    """Whether a still shows a thing (n, 3) on both sides of the subject, which hides its middle, as a spit that it is stuck on.
    A turn passes through such places."""
    if view.kind == "turntable" or len(view.outline) < 3:
        return False
    slopes, depth = project(points, view.position, view.rotation)
    hidden = (outside_distance(slopes, view.outline) <= 0.0) & (depth > view.subject_near_mm)
    if not hidden.any():
        return False
    across, framed = slopes[:, 0], (np.abs(slopes) < np.array(view.half_slopes)).all(axis=1) & ~hidden & (depth > 0)
    sides = (across < across[hidden].min()), (across > across[hidden].max())
    return bool(min(float((framed & side).mean()) for side in sides) > THROUGH)


def share_behind(points: Floats, view: ShotView) -> float:
    """The share of a thing's points that the subject's outline meets in a shot, 0 to 1: it would seem to grow out of it."""
    if len(view.outline) < 3:
        return 0.0
    slopes, depth = project(points, view.position, view.rotation)
    return float(((depth > 0) & (outside_distance(slopes, view.outline) <= 0.0)).mean())


def scrap_at_edge(points: Floats, view: ShotView) -> bool:
    """Whether a shot shows a blurred scrap of a thing (n, 3) at its edge: less than half of what lies nearer than the subject,
    less than a quarter of what lies behind and is out of focus.
    """
    slopes, depth = project(points, view.position, view.rotation)
    framed = (np.abs(slopes) < np.array(view.half_slopes)).all(axis=1) & (depth > 0)
    share = framed.mean()
    if not 0.0 < share < 0.5:
        return False
    if (depth < view.subject_near_mm).all():
        return True
    return bool(share < SCRAP and softness(depth[framed], view) > UNSHARP)


def stands_behind(points: Floats, view: ShotView) -> bool:
    """Whether a prop (n, 3) far behind the subject meets its outline in a shot or comes near it, its blur included.

    A vase that seems to stand on a head is the first thing a photographer moves (common practice).
    """
    if len(view.outline) < 3:
        return False
    slopes, depth = project(points, view.position, view.rotation)
    seen = depth > max(view.subject_far_mm, 0.0)
    if not seen.any():
        return False
    reach = softness(depth[seen], view) * view.half_slopes[0] + NEAR * view.half_slopes[1]
    return bool((outside_distance(slopes[seen], view.outline) <= reach).any())


def before_feet(points: Floats, view: ShotView) -> float:
    """The share of a thing's points that a shot shows in front of the subject, over the width of its outline, 0 to 1.

    Photographers clear such things away (common practice): they hide nothing, but are large and near the picture's lower edge.
    """
    if len(view.outline) < 3:
        return 0.0
    slopes, depth = project(points, view.position, view.rotation)
    framed = (np.abs(slopes) < np.array(view.half_slopes)).all(axis=1)
    low, high = view.outline[:, 0].min(), view.outline[:, 0].max()
    nearer = (depth > 0) & (depth < view.subject_near_mm)
    return float((nearer & framed & (slopes[:, 0] > low) & (slopes[:, 0] < high)).mean())
