"""How dark should the table be for a piece's outline to stand off it? As little off its own tone as can be."""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats
from .exposure import GREY, Tone

APART = 14.0
"""Difference in L* from which an outline is seen to stand off what lies behind it: 12 (a choice), and 2 for the noise of a
small test render."""

LEVELS = (1.0, 0.9, 0.8, 0.72, 0.65, 0.58, 0.52, 1.12, 1.25)
"""Factors on the reflectance of the table that are tried, from the usual tone to oiled and to pale boards. Set by eye."""

ENOUGH, WORTH = 0.8, 0.15
"""Share of the outline before the table that stands off it, with which a table is left as it is; and how much more of it must
stand off for each halving or doubling of its reflectance. Set by eye."""

FEWEST = 12
"""Points of the outline before the table with which it is worth asking."""


def shown_lightness(bright: Floats, tone: Tone, stops: float) -> Floats:
    """(n,) CIE L* at which a picture exposed by `stops` shows scene-linear luminances (n,), by the known points of its tone."""
    at = np.log2(np.maximum(bright, 1e-9) / GREY) + stops
    return np.interp(at, (tone.dark - 3.0, tone.dark, 0.0, tone.top, tone.highest, tone.highest + 2.0), (2.0, *KNOWN, 99.0))


KNOWN = (13.0, 49.5, 88.1, 93.9)
"""L* of what a tone calls dark, of mid-grey (code 118 of sRGB), of its top (221) and its highest (238), by IEC 61966-2-1 and
CIE 15."""


def table_level(piece: Floats, table: Floats, tone: Tone, *, stops: float) -> float:
    """The factor on the table's reflectance, one of `LEVELS`, with which enough of the outline stands off it.

    piece, table: (n,) scene-linear luminance along the outline, on the piece and on the table beside it. stops: the exposure.
    """
    if len(piece) < FEWEST:
        return 1.0
    own = shown_lightness(piece, tone, stops)
    best, most = 1.0, -np.inf
    for level in LEVELS:
        apart = np.abs(own - shown_lightness(level * table, tone, stops)) >= APART
        value = min(float(apart.mean()), ENOUGH) - WORTH * abs(float(np.log2(level)))
        if value > most + 1e-9:
            best, most = level, value
    return best


def beside_outline(piece: Bools, table: Bools, bright: Floats, *, reach: int = 2) -> tuple[Floats, Floats]:
    """(n,), (n,) mean luminance on the piece and on the table within `reach` pixels of each place where one meets the other.

    piece, table: (h, w) which pixels show them; where both, the table is behind. bright: (h, w) luminance.
    """
    beside = table & ~piece
    rim = piece & _grown(beside, 1)
    return _mean_near(bright, piece, reach)[rim], _mean_near(bright, beside, reach)[rim]


def _grown(mask: Bools, by: int) -> Bools:
    size = 2 * by + 1
    return np.asarray(np.lib.stride_tricks.sliding_window_view(np.pad(mask, by), (size, size)).any(axis=(-2, -1)))


def _mean_near(values: Floats, mask: Bools, reach: int) -> Floats:
    """(h, w) mean of values over the pixels of a mask within `reach`; 0 where there is none."""
    size = (2 * reach + 1,) * 2
    count, total = (
        np.lib.stride_tricks.sliding_window_view(np.pad(part.astype(float), reach), size).sum(axis=(-2, -1))
        for part in (mask, np.where(mask, values, 0.0))
    )
    return np.asarray(total / np.maximum(count, 1.0))
