"""Which photographs of a set are soft, which are shaken? By the width of their edges, in pixels and relative to the set's
best."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import Floats
from ..records import record
from .edges import Edges
from .piece import Piece, central, on_piece
from .remarks import RETAKE, Remark
from .seen import Photo

QUANTILE = 15.0
"""Percentile of the edges' widths that represents a photo: a low one, since round forms and shadows have wide edges even in the
sharpest photo."""
LEAST_EDGES = 8
"""With fewer strong edges on the piece sharpness is not judged."""
SHARPEST = 5.0
"""The same for one direction alone: what is out of focus has wide edges too, but after a shake no edge is sharp."""
SOFT_PIXELS = 4.0
"""10-90 % width from which a photo is soft whatever the others are: a Gaussian blur of 1.6 pixels (width / 2.563), under which
lines four pixels apart keep 4 % of their contrast, exp(-2 (pi 1.6 / 4)^2)."""
SOFT_RATIO, SOFT_FLOOR = 1.6, 2.4
"""A photo is also soft from this multiple of the width of the set's sharp photos, if its width is at least the floor (guesses,
tried in `bench photo_set`)."""
SHAKEN_RATIO = 1.45
"""Least ratio of the edges' widths across two directions in a shaken photo (guess, tried likewise)."""
STREAKED = 0.7
"""Least concentration of the edges' directions in a photo that is all streaks (0: even, 1: a single direction; guess, tried
likewise)."""
WAYS = 12
"""Directions across which widths are measured, 15 degrees apart."""
LEAST_A_WAY = 20
"""With fewer edges across a direction its width is not known: a low percentile of them must be one of several (guess)."""


@record
class Sharpness:
    """Of one photo: 10-90 % width in pixels (nan: too few edges), edges counted, and the same width across each of `WAYS`
    directions from 0 to 180 degrees (nan where too few edges rise that way). lean: mean of exp(2 i angle) of the edges; its
    length is the concentration of their directions, half its angle the main direction."""

    width: float
    edges: int
    ways: Floats
    lean: complex


def sharpness(edges: Edges) -> Sharpness:
    """The sharpness that these edges show."""
    count = len(edges.width)
    width = float(np.percentile(edges.width, QUANTILE)) if count >= LEAST_EDGES else np.nan
    ways = np.full(WAYS, np.nan)
    for number, way in enumerate(np.arange(WAYS) * np.pi / WAYS):
        near = np.abs(np.mod(edges.angle - way + np.pi / 2, np.pi) - np.pi / 2) < np.radians(22.5)
        if near.sum() >= LEAST_A_WAY:
            ways[number] = np.percentile(edges.width[near], SHARPEST)
    lean = complex(np.exp(2j * edges.angle).mean()) if count else 0j
    return Sharpness(width, count, ways, lean)


def of_set(photos: Sequence[Photo], piece: Piece) -> list[Sharpness]:
    """The sharpness of each photo on its piece, or in its middle where the piece can't be found."""
    found = []
    for number, photo in enumerate(photos):
        mask = piece.masks[number] if piece.known else central()
        found.append(sharpness(photo.edges.within(on_piece(photo.edges, mask))))
    return found


def best_width(found: Sequence[Sharpness]) -> float:
    """The width of the set's sharp photos: the lowest quarter's upper end; nan where none has edges enough."""
    known = [photo.width for photo in found if np.isfinite(photo.width)]
    return float(np.percentile(known, 25)) if known else np.nan


def soft_limit(best: float) -> float:
    """The 10-90 % width in pixels from which a photo of this set is soft."""
    return SOFT_PIXELS if not np.isfinite(best) else min(SOFT_PIXELS, max(SOFT_FLOOR, SOFT_RATIO * best))


def remarks(found: Sequence[Sharpness]) -> list[list[Remark]]:
    """Remarks on each photo's sharpness."""
    if not found:
        return []
    best = best_width(found)
    limit = soft_limit(best)
    usual = float(np.median([photo.edges for photo in found]))
    ways, lean = _usual_ways(found), float(np.percentile([abs(photo.lean) for photo in found], 25))
    return [_shaken(photo, ways, limit) or _smeared(photo, lean) or _soft(photo, best, limit, usual) for photo in found]


def _usual_ways(found: Sequence[Sharpness]) -> Floats:
    """(WAYS,) lower quartile over the set's photos of the width across each direction, since a grain or a ridge is wider in one
    direction in all of them. Equal widths where the set is too small."""
    ways = np.array([photo.ways for photo in found])
    known = np.isfinite(ways).sum(axis=0)
    usual = np.array([np.nanpercentile(ways[:, k], 25) if known[k] >= 4 else np.nan for k in range(WAYS)])
    middle = float(np.nanmedian(usual)) if np.isfinite(usual).any() else 1.0
    return np.where(np.isfinite(usual), usual, middle)


def _shaken(photo: Sharpness, usual: Floats, limit: float) -> list[Remark]:
    """Whether edges are wider across one direction than across one far from it, compared with the rest of the set."""
    known = np.where(np.isfinite(photo.ways), photo.ways / usual, np.inf)
    quarter = WAYS // 4
    away = np.array([min(known[(way + k) % WAYS] for k in range(quarter, WAYS - quarter + 1)) for way in range(WAYS)])
    wide = np.isfinite(photo.ways) & (photo.ways > limit) & np.isfinite(away)
    ratio = np.where(wide, known / np.where(np.isfinite(away), away, 1.0), 0.0)
    worst = int(np.argmax(ratio))
    if ratio[worst] < SHAKEN_RATIO:
        return []
    way = _direction(180.0 * worst / WAYS)
    words = f"edges are {photo.ways[worst]:.1f} pixels wide that way, {ratio[worst]:.1f} times as wide as the other way"
    return [Remark("shaken", RETAKE, f"Shaken along {way}: {words}")]


def _smeared(photo: Sharpness, usual: float) -> list[Remark]:
    """Whether nearly all edges run in one direction, unlike in the other photos: a long motion turns fine detail into
    streaks."""
    if photo.edges < 2 * LEAST_A_WAY or abs(photo.lean) < max(STREAKED, usual + 0.35):
        return []
    along = np.degrees(0.5 * np.angle(photo.lean)) + 90.0
    return [Remark("shaken", RETAKE, f"Shaken along {_direction(along)}: all fine detail is drawn out that way")]


def _soft(photo: Sharpness, best: float, limit: float, usual: float) -> list[Remark]:
    if photo.width > limit:
        return [
            Remark("soft", RETAKE, f"Soft: edges are {photo.width:.1f} pixels wide, {best:.1f} in the sharp photos of this set")
        ]
    if not np.isfinite(photo.width) and usual >= 4 * LEAST_EDGES and photo.edges < usual / 8:
        return [Remark("soft", RETAKE, f"Soft or empty: {photo.edges} strong edges on the piece, {usual:.0f} in the others")]
    return []


def _direction(degrees: float) -> str:
    """The direction in words, as it is seen: x to the right, y down."""
    names = ("the horizontal", "the diagonal from top left", "the vertical", "the diagonal from bottom left")
    return names[int(np.mod(np.round(degrees / 45.0), 4))]
