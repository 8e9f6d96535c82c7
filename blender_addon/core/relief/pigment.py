"""How much darker or brighter is each pigment than the rest? Told by its colour: paint has a hue, light on one body seldom has.

What a fitted light leaves over is sorted by chromaticity. Places of one chromaticity, wherever they lie, share one pigment, so
that their mean remainder is its level: the light falls on all of them, the paint on them alone.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .bandpass import gaussian_blur

Floats = NDArray[Any]

BIN = 0.08  # of log chromaticity
EASE = 1.0  # bins, sigma over which the levels are eased: paints closer than this are one
BINS = 96  # a side: chromaticities up to +- 3.8 in the log
MARGIN = 6  # bins at the border that nothing falls into, so that the easing loses nothing
FAR = (2.0, 4.0, 8.0, 16.0)  # bins, sigmas by which a chromaticity that nothing had takes the levels of those near it
FAINT = 1e-3  # weight of these against the mean of the table


@dataclass(frozen=True)
class Pigments:
    """Log level of paint by its chromaticity. middle: (2,) chromaticity of the table's middle. levels: (BINS^2, 3)."""

    middle: Floats
    levels: Floats

    def at(self, remainder: Floats) -> Floats:
        """(n, 3) level a channel where log(texture / light) is `remainder` (n, 3)."""
        return sum(self.levels[cell] * share[:, None] for cell, share in _taps(remainder, self.middle))  # type: ignore[return-value]


def find_pigments(remainder: Floats, weights: Floats) -> Pigments:
    """The levels, of weighted mean 0 over the given places.

    remainder: (n, 3) log(texture / light). weights: (n,) >= 0, not all 0.
    """
    middle = np.median(_chromaticity(remainder), axis=0)
    stacked = np.concatenate([remainder, np.ones((len(remainder), 1))], axis=1) * weights[:, None]
    table = np.zeros((BINS * BINS, 4))
    for cell, share in _taps(remainder, middle):
        for column in range(4):
            table[:, column] += np.bincount(cell, share * stacked[:, column], BINS * BINS)
    table = _eased(table, EASE)
    faint = FAINT * table[:, 3].mean()
    wide = [_eased(table, sigma) for sigma in FAR]
    table = table + sum(faint / max(one[:, 3].max(), 1e-12) * one for one in wide)
    found = Pigments(middle, table[:, :3] / np.maximum(table[:, 3:], 1e-12))
    return Pigments(middle, found.levels - np.average(found.at(remainder), axis=0, weights=weights))


def _chromaticity(remainder: Floats) -> Floats:
    return remainder[:, [0, 2]] - remainder[:, [1]]


def _taps(remainder: Floats, middle: Floats) -> list[tuple[NDArray[Any], Floats]]:
    """The four bins round each place and their bilinear shares."""
    place = np.clip((_chromaticity(remainder) - middle) / BIN + BINS / 2, MARGIN, BINS - MARGIN - 1.001)
    cell = np.floor(place).astype(np.int64)
    part = place - cell
    return [
        ((cell[:, 0] + a) * BINS + cell[:, 1] + b, np.abs(1 - a - part[:, 0]) * np.abs(1 - b - part[:, 1]))
        for a in (0, 1)
        for b in (0, 1)
    ]


def _eased(table: Floats, sigma: float) -> Floats:
    """Each column blurred over the bins."""
    columns = [gaussian_blur(table[:, column].reshape(BINS, BINS), sigma).ravel() for column in range(table.shape[1])]
    return np.stack(columns, axis=1)
