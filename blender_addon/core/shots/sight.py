"""What lies between the lens and the piece? The sight lines of a shot, which debris and props must keep clear.

The light that forms the picture runs from every point of the subject's outline to every point of the aperture: seen from the
lens, this is the outline widened by half the aperture times (1/d - 1/D) at depth d in front of a subject at depth D.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import field

import numpy as np

from ..arrays import Bools, Floats
from ..records import record
from .framing import project


@record
class ShotView:
    """A shot as dressing needs it, in mm: where the lens is, how it is turned, what it sees and between which depths it is
    sharp.

    rotation: (3, 3), columns are the camera's right, up and backward axes. half_slopes: tangents of half the angle of view,
    across and up. outline: (k, 2) convex outline of the subject in slopes, counter-clockwise. subject_near_mm and
    subject_far_mm: depths between which the subject lies. aperture_mm: diameter of the lens's opening. outlines: the subject's
    true outline in the frame (`tangency.outline_in_frame`), one for each position of a subject that turns.
    """

    name: str
    kind: str
    position: Floats
    rotation: Floats
    half_slopes: tuple[float, float]
    focus_mm: float
    near_mm: float
    far_mm: float
    aperture_mm: float
    outline: Floats = field(default_factory=lambda: np.zeros((0, 2)))
    subject_near_mm: float = 0.0
    subject_far_mm: float = 0.0
    outlines: tuple[Floats, ...] = ()

    @property
    def axis(self) -> Floats:
        """(3,) unit vector from the lens into the scene."""
        return -self.rotation[:, 2]

    @property
    def frame_mm(self) -> float:
        """Width of what the frame shows at the focus distance, mm."""
        return 2.0 * self.half_slopes[0] * self.focus_mm


FOREGROUND = 0.6
"""Anything nearer than this share of the focus distance, anywhere in the frame, would be a large blur over the picture. By
eye."""

SPECK = 0.007
"""Radius of the blur, in half widths of the frame, from which a crumb before the subject is a pale disc instead of a crumb: 3
pixels in a picture 960 wide. By eye."""

LENS_ROOM_MM = 35.0
"""Room kept free round the lens itself."""

BLOCK = 1024
"""Points compared with all of a polygon's edges at once, so that the arrays stay in the cache."""


def in_sight(points: Floats, view: ShotView, *, radius_mm: Floats | float = 0.0) -> Bools:
    """Which points (n, 3) mm, each the middle of something of `radius_mm`, stand between the lens and the subject.

    Also counted: anything so near that it would blur over the frame, and anything that touches the lens.
    """
    points = np.asarray(points, float).reshape(-1, 3)
    radius = np.broadcast_to(np.asarray(radius_mm, float), len(points))
    slopes, depth = project(points, view.position, view.rotation)
    ahead = depth > 1e-6
    room = np.where(ahead, depth, 1.0)
    reach = radius / room
    # Half the aperture widens frame and outline, less and less towards the subject.
    last = view.subject_far_mm or view.focus_mm
    widened = 0.5 * view.aperture_mm * np.maximum(1.0 / room - 1.0 / last, 0.0) + reach
    framed = (np.abs(slopes) <= np.array(view.half_slopes) + widened[:, None]).all(axis=1)
    blurs = framed & (depth < FOREGROUND * view.focus_mm)
    touches = np.linalg.norm(points - view.position, axis=1) < LENS_ROOM_MM + radius
    found = ahead & blurs | touches
    if len(view.outline):
        before = ahead & (depth - radius < last) & framed
        found |= before & (outside_distance(slopes, view.outline) <= widened)
    return found


def in_any_sight(points: Floats, views: Iterable[ShotView], *, radius_mm: Floats | float = 0.0) -> Bools:
    """Which points stand in the sight lines of any of the shots."""
    points = np.asarray(points, float).reshape(-1, 3)
    found = np.zeros(len(points), bool)
    for view in views:
        found |= in_sight(points, view, radius_mm=radius_mm)
    return found


def blurred_before(points: Floats, view: ShotView, *, radius_mm: Floats | float = 0.0) -> Bools:
    """Which points (n, 3) mm, each the middle of something of `radius_mm`, a shot shows as blurred discs between the lens and
    the place in focus. A close look is cleared of such crumbs (common practice), which would be the largest thing in it."""
    points = np.asarray(points, float).reshape(-1, 3)
    slopes, depth = project(points, view.position, view.rotation)
    ahead = depth > 1e-6
    room = np.where(ahead, depth, 1.0)
    blur = 0.5 * view.aperture_mm * (1.0 / room - 1.0 / view.focus_mm)
    reach = blur + np.broadcast_to(np.asarray(radius_mm, float), len(points)) / room
    framed = (np.abs(slopes) <= np.array(view.half_slopes) + reach[:, None]).all(axis=1)
    return ahead & framed & (blur > SPECK * view.half_slopes[0])


def outside_distance(points: Floats, polygon: Floats) -> Floats:
    """Distance (n,) of points (n, 2) outside a convex counter-clockwise polygon (k, 2); 0 inside."""
    points, polygon = np.asarray(points, float), np.asarray(polygon, float)
    edge = np.roll(polygon, -1, axis=0) - polygon
    long = np.maximum(np.einsum("ij,ij->i", edge, edge), 1e-30)
    found = np.zeros(len(points))
    for start in range(0, len(points), BLOCK):
        x, y = (points[start : start + BLOCK, k, None] - polygon[:, k] for k in (0, 1))
        share = np.clip((x * edge[:, 0] + y * edge[:, 1]) / long, 0.0, 1.0)
        inside = (edge[:, 0] * y >= edge[:, 1] * x).all(axis=1)
        nearest = ((x - share * edge[:, 0]) ** 2 + (y - share * edge[:, 1]) ** 2).min(axis=1, initial=np.inf)
        found[start : start + BLOCK] = np.where(inside, 0.0, np.sqrt(nearest))
    return found


FEW = 1000
"""Points from which it pays to leave out those that can't be extremes."""


def _outside_coarse(points: Floats) -> Floats:
    """The points (k, 2) that do not lie inside the octagon of the extremes in eight directions: the others are none."""
    x, y = points.T
    extremes = [int(values.argmax()) for values in (x, x + y, y, y - x, -x, -x - y, -y, x - y)]
    corners = points[list(dict.fromkeys(extremes))]
    inside = np.ones(len(points), bool)
    for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True):
        inside &= (end[0] - start[0]) * (y - start[1]) > (end[1] - start[1]) * (x - start[0])
    return points[~inside]


def convex_outline(points: Floats, *, directions: int = 64) -> Floats:
    """(k, 2) convex polygon round points (n, 2), counter-clockwise: their extremes in evenly spread directions.

    The corners are where neighbouring support lines cross, so the polygon holds all points (and at most 0.1 % more).
    """
    points = np.asarray(points, float)
    angle = np.linspace(0.0, 2.0 * np.pi, directions, endpoint=False)
    normal = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    outer = _outside_coarse(points) if len(points) > FEW else points
    reach = np.array([(outer @ direction).max() for direction in normal])
    following, reach_next = np.roll(normal, -1, axis=0), np.roll(reach, -1)
    cross = normal[:, 0] * following[:, 1] - normal[:, 1] * following[:, 0]
    x = (reach * following[:, 1] - reach_next * normal[:, 1]) / cross
    y = (reach_next * normal[:, 0] - reach * following[:, 0]) / cross
    corners = np.stack([x, y], axis=1)
    # Support lines that meet in one point give edges of zero length, whose direction would be rounding noise.
    step = np.linalg.norm(corners - np.roll(corners, 1, axis=0), axis=1)
    return corners[step > 1e-9 * max(float(np.ptp(points, axis=0).max()), 1e-30)]
