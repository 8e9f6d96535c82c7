"""How does a rigid body come to rest on an uneven surface? On three points round its centre of mass."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, Ints
from ..records import record


@record
class Support:
    """A plane z = slope . (x, y) + level that touches points from above, the indices of the contacts, and whether it is stable.

    stable: the centre lies inside the triangle of the contacts; otherwise the plane is level and touches one point.
    """

    slope: Floats
    level: float
    contacts: Ints
    stable: bool

    def at(self, xy: Floats) -> Floats:
        """Height of the plane at places (n, 2)."""
        return np.asarray(xy, float) @ self.slope + self.level


def rest_on(xy: Floats, heights: Floats, centre: Floats, *, steepest: float = 0.1) -> Support:
    """The lowest plane over points as seen from `centre`: what a flat rigid base with its mass there settles on.

    Parameters
    ----------
    xy : (n, 2) places, any unit. heights : (n,) how high the ground reaches there, less how high the base lies above its plane.
    centre : (2,) place of the centre of mass.
    steepest : a plane steeper than this (tangent) counts as not stable.

    Notes
    -----
    Minimise a cx + b cy + c subject to a x + b y + c >= h: a linear programme of three unknowns, solved by the dual simplex
    method: hold three contacts whose triangle has the centre inside, bring in the point that pokes out most, drop the one that
    keeps the centre inside, until none pokes out.
    """
    xy, heights = np.asarray(xy, float), np.asarray(heights, float)
    if not len(xy):
        return Support(np.zeros(2), 0.0, np.zeros(0, np.int64), False)
    centre = np.asarray(centre, float)
    spread = float(np.abs(xy - centre).max()) + 1e-9
    angles = np.array([0.3, 0.3 + 2 * np.pi / 3, 0.3 + 4 * np.pi / 3])
    props = centre + 50 * spread * np.stack([np.cos(angles), np.sin(angles)], axis=1)
    places = np.concatenate([xy, props])
    tops = np.concatenate([heights, np.full(3, heights.min() - 500 * spread)])
    corners = np.array([len(xy), len(xy) + 1, len(xy) + 2])
    plane = _plane(places[corners], tops[corners])
    for _ in range(200):
        out = heights - (xy @ plane[:2] + plane[2])
        worst = int(np.argmax(out))
        if out[worst] <= 1e-9 * spread:
            break
        corners = _exchanged(corners, worst, places, centre)
        plane = _plane(places[corners], tops[corners])
    if corners.max() >= len(xy) or np.hypot(*plane[:2]) > steepest:
        return Support(np.zeros(2), float(heights.max()), np.array([int(np.argmax(heights))]), False)
    level = plane[2] + max(0.0, float((heights - (xy @ plane[:2] + plane[2])).max()))
    return Support(plane[:2].copy(), level, corners, True)


def _plane(places: Floats, tops: Floats) -> Floats:
    return np.linalg.lstsq(np.column_stack([places, np.ones(3)]), tops, rcond=None)[0]


def _exchanged(corners: Ints, entering: int, places: Floats, centre: Floats) -> Ints:
    """The triangle of the entering point and two of the old ones that has the centre inside."""
    best, best_inside = corners, -np.inf
    for leaving in range(3):
        trial = corners.copy()
        trial[leaving] = entering
        system = np.vstack([places[trial].T, np.ones(3)])
        if abs(np.linalg.det(system)) < 1e-12:
            continue
        inside = float(np.linalg.solve(system, np.array([*centre, 1.0])).min())
        if inside > best_inside:
            best, best_inside = trial, inside
    return best
