"""Does what lies flat look the same from another side? By the relief of its upper side: its outline and its body say little.

A medal's rim, a mask's dome, a tile's slab look the same from all or several sides, and what they show does not.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...records import record
from .profiles import Standing


@record
class LyingConstants:
    """Numbers of judging what lies flat; all are guesses, tried on a mask, a medal and plain forms."""

    flat: float = 0.6
    """Height over the shorter of width and depth, up to which something lies flat."""
    alike: float = 0.7
    """Correlation of the upper side's relief with itself, turned, from which it looks the same."""
    cells: int = 40
    """Cells along the longer side in which the relief is compared."""
    faces_up: float = 0.2
    """Least upward part of the normal of the upper side."""
    inner: float = 0.35
    """Share of the way from the middle to the edge within which is the bottom of a dish; its rim lies as near to the edge."""
    dished: float = 0.1
    """How far a rim rises over the bottom, over the shorter of width and depth, from which it is a dish: it has no reading
    side."""
    plain: float = 0.003
    """Relief (standard deviation, over the longer side) below which the upper side is plain."""


LYING = LyingConstants()


def lies_flat(thing: Standing) -> bool:
    """Whether a thing lies flat to be looked at from above, as a medal, a tile or a mask does: low, and no dish."""
    wide, deep, high = np.ptp(thing.points, axis=0)
    if high > LYING.flat * min(wide, deep):
        return False
    top = _upper(thing)
    middle = 0.5 * (thing.points.min(axis=0) + thing.points.max(axis=0))
    out = np.hypot(*((top - middle)[:, :2] / (0.5 * np.maximum([wide, deep], 1e-30))).T)
    bottom, rim = out < LYING.inner, out > 1.0 - LYING.inner
    if not bottom.any() or not rim.any():
        return True
    return float(top[rim, 2].max() - np.median(top[bottom, 2])) < LYING.dished * min(wide, deep)


def relief_alike(thing: Standing, turn_deg: float) -> bool:
    """Whether the relief of the upper side looks the same, turned about the vertical by so many degrees; so does what is plain.

    The form in the large, a dome or a slope, is taken out first: a surface of fourth degree.
    """
    top = _upper(thing)
    if len(top) < 100:
        return True
    middle = 0.5 * (top.min(axis=0) + top.max(axis=0))
    away = (top - middle) / max(float(np.ptp(top[:, :2], axis=0).max()), 1e-30)
    turn = np.radians(turn_deg)
    turned = away[:, :2] @ np.array([[np.cos(turn), np.sin(turn)], [-np.sin(turn), np.cos(turn)]])
    first, second = _relief(away[:, :2], away[:, 2]), _relief(turned, away[:, 2])
    both = np.isfinite(first) & np.isfinite(second)
    if both.sum() < 100:
        return False
    first, second = first[both], second[both]
    if max(float(first.std()), float(second.std())) < LYING.plain:
        return True
    return float(np.corrcoef(first, second)[0, 1]) > LYING.alike


def _upper(thing: Standing) -> Floats:
    """(k, 3) the points of the upper side."""
    return thing.points[thing.normals[:, 2] > LYING.faces_up]


def _relief(places: Floats, height: Floats) -> Floats:
    """(cells * cells,) mean height of the points (n, 2) in each cell over the form in the large; nan where there is none."""
    wide = 3 * LYING.cells // 2  # a square's diagonal is 1.41
    cell = np.clip(((places + 0.75) * LYING.cells).astype(int), 0, wide - 1)
    number = cell[:, 1] * wide + cell[:, 0]
    count = np.bincount(number, minlength=wide * wide)
    x, y = places.T
    powers = np.stack([x**i * y**j for i in range(5) for j in range(5 - i)], axis=1)
    rest = height - powers @ np.linalg.lstsq(powers, height, rcond=None)[0]
    total = np.bincount(number, rest, len(count))
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
