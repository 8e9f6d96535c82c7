"""What if shape alone leaves several poses open? Colour decides where it can; otherwise the poses to choose from are listed."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ..mesh import Floats
from ..similarity import Similarity, rotation_from_vector
from .colour import best_turn, likeness, one_a_side, peak_turn, told_apart, turned_about
from .icp import loose_axis, refine
from .scans import Scans, lying_on, weighed
from .verdict import NOT_SURE, SURE, Candidate, Limits, Registration

COARSE_POINTS, FINE_POINTS = 700, 4000
SHOWN_TURNS = (0.0, 90.0, 180.0, 270.0)
"""Turns offered a side where any turn fits; what lies between is asked for in degrees."""
FITS_TOO = 0.75
"""Share of the best pose's shared area that a pose upside down must reach to be another way in which it fits."""


def broken(scans: Scans, decided: Registration, tolerance: float) -> Registration:
    """The verdict on a tie: sure where both scans have colour and it stands out; otherwise what there is to choose from."""
    return _ways(scans, decided) if decided.tie == "ways" else _turn(scans, decided, tolerance)


def _likeness(scans: Scans, points: int) -> Callable[[Similarity], float]:
    asked = scans.moving_part(points)
    return lambda pose: likeness(asked, scans.fixed, scans.nearest, pose)


def _coloured(scans: Scans) -> bool:
    return scans.moving.colour is not None and scans.fixed.colour is not None


def _ways(scans: Scans, decided: Registration) -> Registration:
    """Several poses that fit: the one in which the colours agree."""
    if not _coloured(scans):
        return decided
    score = _likeness(scans, 2000)
    rated = np.array([score(one.pose) for one in decided.candidates])
    order = np.argsort(-rated)
    chosen = tuple(decided.candidates[place] for place in order)
    if not told_apart(rated[order], np.arange(len(rated)) < 1):
        return Registration(NOT_SURE, decided.reason, chosen, decided.tie) if rated.max() > 0 else decided
    return Registration(SURE, "shape fits in several ways, colour in one alone", chosen)


def _turn(scans: Scans, decided: Registration, tolerance: float) -> Registration:
    """Any turn about an axis fits: the turn, on either side, at which the colours agree."""
    first = decided.candidates[0]
    spots, facing = lying_on(scans, first.pose)
    axis = loose_axis(spots, facing, firm=Limits().loose)
    if axis is None:
        return decided
    over = turned_over(scans, first, axis, tolerance)
    sides = one_a_side([one.pose for one in (*decided.candidates, *over)], axis[0])
    if _coloured(scans):
        pose, standing = best_turn(_likeness(scans, COARSE_POINTS), sides, *axis)
        if standing:
            pose, _, _ = refine(scans.moving_part(4000), scans.fixed, scans.nearest, pose, rounds=10)
            pose, _ = peak_turn(_likeness(scans, FINE_POINTS), pose, *axis)
            chosen = Candidate(pose, weighed(scans, pose, tolerance, points=4000))
            if chosen.evidence.shared > 0.9 * first.evidence.shared:
                return Registration(SURE, "shape can turn in itself, colour holds it", (chosen,))
        sides = one_a_side([pose, *sides], axis[0])
    shown = [turned_about(side, *axis, turn) for side in sides for turn in SHOWN_TURNS]
    listed = tuple(Candidate(pose, weighed(scans, pose, tolerance, points=2000)) for pose in shown)
    return Registration(NOT_SURE, decided.reason, listed, decided.tie, axis)


def turned_over(scans: Scans, best: Candidate, axis: tuple[Floats, Floats], tolerance: float) -> list[Candidate]:
    """The best pose upside down on its loose axis, where that fits nearly as well; one or none.

    What can turn in itself crowds the other side out of the list of candidates, so it is looked at by itself: turned over
    about the middle of what is seen, of all, and of what it lies on, since a part may be missing on either scan.
    """
    direction, through = axis
    across = np.cross(direction, np.eye(3)[int(np.argmin(np.abs(direction)))])
    turn = rotation_from_vector(np.pi * across / np.linalg.norm(across))
    spots = best.pose.apply(scans.seen.points)
    near, _ = scans.nearest(spots[:2000])
    found = []
    for body in (spots, best.pose.apply(scans.moving.points), scans.fixed.points[near]):
        low, high = np.quantile((body - through) @ direction, (0.01, 0.99))
        middle = through + 0.5 * (low + high) * direction
        start = Similarity(1.0, turn, middle - turn @ middle).after(best.pose)
        pose, _, _ = refine(scans.moving_part(1500), scans.fixed, scans.nearest, start, rounds=15, tolerance=2e-5)
        found.append(Candidate(pose, weighed(scans, pose, tolerance)))
    top = max(found, key=lambda one: one.rank)
    return [top] if top.evidence.shared > FITS_TOO * best.evidence.shared else []
