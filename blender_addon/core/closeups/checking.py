"""Which photos of a set can be used? Overexposed ones, repeated lamp places and another piece are set aside, with the
reason."""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats
from .consistency import FEWEST
from .photo_set import Kept, PhotoSet

LEAST_USABLE = 0.4
"""Least share of a photo's pixels that must be neither black nor clipped."""
SAME_LAMP = 0.025
"""Spread of the log of two photos' ratio over the form below which the lamp did not move: 4 degrees of lamp make 0.05 on our
bench, noise of the means 0.005."""
MOST_LEFT = 0.2
"""Spread of the log of the light that tooling and paint may leave unexplained before it is asked whether it is the piece at
all: a part that is nearly flat shows no form, and its photos are right all the same."""
FAR_OFF = 4.0
"""Multiple of the median photo's unexplained spread from which one photo among good ones is set aside."""
EXPLAINED, EXPLAINED_ALONE = 0.25, 0.4
"""Share of a photo's variation over the form that one lamp must explain where more is left; photos in place reach 0.5 to 0.8 on
our bench. With one or two photos the form alone says where the lamp stood, so that it must explain more, whatever is left."""


def kept_photos(photo_set: PhotoSet, names: list[str]) -> Kept:
    """Look through the photos of a set, named `names` in the order in which they were added."""
    rows, reasons = [], []
    for row, name in enumerate(names):
        share = float(photo_set.usable[row].mean())
        if share < LEAST_USABLE:
            reasons.append(
                f'"{name}" is blown or black in {100 * (1 - share):.0f} % of the piece, so it is set aside: take it again with '
                "another exposure"
            )
        else:
            rows.append(row)
    rows = _once(photo_set, rows, names, reasons)
    if not rows:
        return Kept([], None, reasons)
    lamps = photo_set.lamps(rows)
    good = [row for row, fits in zip(rows, _fitting(lamps.explained, lamps.left), strict=True) if fits]
    if not good and len(rows) < FEWEST:
        reasons.append(
            "the piece is too flat there, or too little like the photo, for one or two photos to show where the lamp stood, so "
            "they are set aside: take four, the lamp at four places"
        )
    elif not good:
        reasons.append(
            "none of its photos shows the form of the piece there under one lamp, so they are set aside: is it another piece, "
            "are the spots right, was a lamp close by the strongest light?"
        )
    elif len(good) < len(rows):
        wrong = ", ".join(f'"{names[row]}"' for row in rows if row not in good)
        reasons.append(f"{wrong} shows no form under one lamp as the others do, so it is set aside: did camera or piece move?")
    return Kept(good, (lamps if good == rows else photo_set.lamps(good)) if good else None, reasons)


def _fitting(explained: Floats, left: Floats) -> Bools:
    """(k,) which photos show the piece: all or none by the most, and those apart that are far off beside the others."""
    if len(left) < FEWEST:
        return np.asarray(explained >= EXPLAINED_ALONE)
    middle = float(np.median(left))
    if np.median(explained) < EXPLAINED and middle > MOST_LEFT:
        return np.zeros(len(left), bool)
    return np.asarray((explained >= EXPLAINED) | (left <= max(MOST_LEFT, FAR_OFF * middle)))


def _once(photo_set: PhotoSet, rows: list[int], names: list[str], reasons: list[str]) -> list[int]:
    """The rows without those whose lamp stands where an earlier one's does."""
    if len(rows) < 2:
        return rows
    values, usable = (np.stack([of[row] for row in rows], axis=1) for of in (photo_set.values, photo_set.usable))
    samples = photo_set.samples(values, usable)
    kept: list[int] = []
    for place, row in enumerate(rows):
        twin = next(
            (earlier for earlier in kept if _deviation(samples.values, samples.usable, rows.index(earlier), place) < SAME_LAMP),
            None,
        )
        if twin is None:
            kept.append(row)
        else:
            reasons.append(
                f'"{names[row]}" has the lamp where "{names[twin]}" has it, so it is set aside: move the lamp between photos'
            )
    return kept


def _deviation(values: Floats, usable: Bools, first: int, other: int) -> float:
    """Half of the spread (0.16 to 0.84) of the log of two photos' ratio."""
    both = usable[:, first] & usable[:, other]
    if both.sum() < 20:
        return float("inf")
    ratio = np.log(values[both, first] / np.maximum(values[both, other], 1e-6))
    return float(np.quantile(ratio, 0.84) - np.quantile(ratio, 0.16)) / 2
