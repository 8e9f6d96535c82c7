"""How is a close look cropped? By the frame that holds most of interest and never just clips an outline."""

from __future__ import annotations

import numpy as np

from ...arrays import Bools, Floats
from ...records import record
from ..subject import Subject
from .saliency import saliency


@record
class View:
    """What a camera sees of a subject: points (n, 3) mm, their places (n, 2) mm right and up in the plane of focus, their depth
    (n,) mm beyond it, the worth of each and whether it is lit; edge: (k, 2) places of the points of the whole outline, mm."""

    points: Floats
    places: Floats
    beyond: Floats
    worth: Floats
    lit: Bools
    edge: Floats


@record
class Crop:
    """A frame in a view: its middle (2,) mm, its magnification over the usual one, and its score."""

    middle: tuple[float, float]
    grown: float
    score: float


GROWN = 1.0, 0.85, 1.2
"""Magnifications that are tried, as factors of the usual one."""
UNUSUAL = 0.92
"""Factor on the score of a picture at another than the usual magnification."""
UNLIT = 0.3
"""Weight of a part in shadow; one in the light has 1."""
DEPTH = 0.35
"""Depth that is nearly sharp, as a share of half the frame's height; it falls with the square of the magnification."""
AIR = 0.3
"""Share of a frame that may show the background at no cost: an outline needs air."""
DOWN, ACROSS = 8, 12
"""Cells into which a frame is divided; all have the same weight."""
TRIED = 10
"""How many of the best frames of a view and magnification are checked for cut outlines."""

UNSHOWN = -2.0
"""Worth of a point that no close look should show: where they fill a fifth of the frame they cancel the worth of twice that
area."""

RICHEST = 4.0
"""Upper limit of relief's worth, over that of the richest twentieth of a piece, so that a spike does not win."""

BARELY_IN, BARELY_OUT = 0.84, 1.65
"""An outline that ends between these shares of the way from the frame's middle to its edge is just clipped, or just inside."""
CUT = 0.45
"""Factor on the score of a frame that cuts an outline exactly at its edge."""


def worth_of(subject: Subject) -> Floats:
    """(k,) the worth of each point of a subject in a close look: relief and salient form count about 1 each.

    Relief that covers only a small part of a piece weighs more, since it is what there is to show.
    """
    rich = subject.richness / max(float(np.percentile(subject.richness, 95)), 1e-9)
    worth = np.minimum(rich, RICHEST) + saliency(subject.points, subject.normals)
    return worth if subject.unshown is None else np.where(subject.unshown, UNSHOWN, worth)


def best_crop(view: View, half: Floats, grown: tuple[float, ...] = GROWN) -> Crop:
    """The best frame of a view; half: (2,) half its width and height, mm, at the usual magnification.

    The focus stays within the middle half of the frame. The score is the mean over the frame's cells of the worth of what
    is seen near the focus and in the light; cells without subject count 0, except for the air that an outline needs.
    """
    best = Crop((0.0, 0.0), 1.0, 0.0)
    lit = view.worth * np.where(view.lit, 1.0, UNLIT)
    for factor in grown:
        frame = half / factor
        worth = lit * np.exp(-((view.beyond / (DEPTH * frame[1] / factor)) ** 2))
        cell = 2.0 * frame / [ACROSS, DOWN]
        more_x, more_y = ACROSS // 4, DOWN // 4  # the frame slides this many cells either way
        wide, high = ACROSS + 2 * more_x, DOWN + 2 * more_y
        column = np.floor(view.places[:, 0] / cell[0] + 0.5 * wide).astype(int)
        row = np.floor(view.places[:, 1] / cell[1] + 0.5 * high).astype(int)
        inside = (column >= 0) & (column < wide) & (row >= 0) & (row < high)
        index = row[inside] * wide + column[inside]
        members = np.bincount(index, minlength=wide * high)
        mean = (np.bincount(index, worth[inside], wide * high) / np.maximum(members, 1)).reshape(high, wide)
        total, full = _windows(mean), _windows((members > 0).reshape(high, wide).astype(float))
        score = total / np.maximum(full, (1.0 - AIR) * ACROSS * DOWN) * (1.0 if factor == 1.0 else UNUSUAL)
        for place in np.argsort(-score, axis=None, kind="stable")[:TRIED]:
            y, x = np.unravel_index(place, score.shape)
            if score[y, x] <= best.score:
                break
            middle = (np.array([x, y]) - [more_x, more_y]) * cell
            value = float(score[y, x]) * uncut((view.edge - middle) / frame)
            if value > best.score:
                best = Crop((float(middle[0]), float(middle[1])), factor, value)
    return best


def _windows(values: Floats) -> Floats:
    """Sums of `values` over all frames of DOWN x ACROSS cells, indexed by their first cell."""
    total = np.pad(values.cumsum(axis=0).cumsum(axis=1), ((1, 0), (1, 0)))
    return total[DOWN:, ACROSS:] - total[:-DOWN, ACROSS:] - total[DOWN:, :-ACROSS] + total[:-DOWN, :-ACROSS]


def uncut(edge: Floats) -> float:
    """Factor from `CUT` to 1: how clearly a frame includes or cuts an outline's points (n, 2); the frame's edges are at -1 and
    1.

    On each side the outline's peaks towards it are tested: the crown of a head, each of two ears, a foot.
    """
    worst = 0.0
    for axis in (0, 1):
        along, towards = edge[:, 1 - axis], edge[:, axis]
        framed = np.abs(along) < 1.0
        strip = np.minimum(((along[framed] + 1.0) * 0.5 * ACROSS).astype(int), ACROSS - 1)
        for sign in (1.0, -1.0):
            profile = np.full(ACROSS + 2, -np.inf)
            np.maximum.at(profile, strip + 1, sign * towards[framed])
            peak = (profile[1:-1] >= profile[:-2]) & (profile[1:-1] >= profile[2:])
            if peak.any():
                worst = max(worst, float(_barely(profile[1:-1][peak]).max()))
    return 1.0 - (1.0 - CUT) * worst


def _barely(reach: Floats) -> Floats:
    """0 to 1: how close to the frame's edge outlines end, given as shares of the way to it."""
    return np.clip(np.minimum((reach - BARELY_IN) / (1.0 - BARELY_IN), (BARELY_OUT - reach) / (BARELY_OUT - 1.0)), 0.0, 1.0)


def focus_in(view: View, crop: Crop, half: Floats) -> int:
    """Index of the point to focus on: the one of most worth, at the depth that holds most of the worth in the frame's
    middle."""
    frame = half / crop.grown
    place = (view.places - crop.middle) / frame
    central = np.flatnonzero((np.abs(place) < 0.7).all(axis=1))
    if not len(central):
        return int(np.linalg.norm(view.places - crop.middle, axis=1).argmin()) if len(view.places) else 0
    worth = view.worth[central] * np.where(view.lit[central], 1.0, UNLIT)
    depth = view.beyond[central]
    tried = np.linspace(depth.min(), depth.max(), 24)
    sharp = 0.5 * DEPTH * frame[1] / crop.grown
    gain = np.exp(-(((depth[None, :] - tried[:, None]) / sharp) ** 2)) @ worth
    near = np.abs(depth - tried[int(gain.argmax())]) <= 0.3 * sharp
    if not near.any():
        near = np.ones(len(central), bool)
    value = worth * (1.0 - 0.5 * np.abs(place[central]).max(axis=1)) * near
    return int(central[int(value.argmax())])
