"""How much darker or brighter is each pigment than the rest? Told by its colour: paint has a hue, light on one body seldom has.

What a fitted light leaves over is sorted by chromaticity. Receivers of one chromaticity, wherever they lie, share one pigment,
so that their mean remainder is its level: the light falls on all of them, the paint on them alone.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from .bandpass import gaussian_blur

Floats = NDArray[Any]

BIN = 0.08  # of log chromaticity
EASE = 1.0  # bins, sigma over which the levels are eased: paints closer than this are one
BINS = 96  # a side: chromaticities up to +- 3.8 in the log
MARGIN = 6  # bins at the border that nothing falls into, so that the easing loses nothing


def pigment_levels(remainder: Floats, weights: Floats) -> Floats:
    """(n, 3) log level of each receiver's pigment a channel, of weighted mean 0.

    remainder: (n, 3) log(texture / light). weights: (n,) >= 0, not all 0.
    """
    chroma = remainder[:, [0, 2]] - remainder[:, [1]]
    place = (chroma - np.median(chroma, axis=0)) / BIN + BINS / 2
    place = np.clip(place, MARGIN, BINS - MARGIN - 1.001)
    cell = np.floor(place).astype(np.int64)
    part = place - cell
    taps = [
        ((cell[:, 0] + a) * BINS + cell[:, 1] + b, np.abs(1 - a - part[:, 0]) * np.abs(1 - b - part[:, 1]))
        for a in (0, 1)
        for b in (0, 1)
    ]
    stacked = np.concatenate([remainder, np.ones((len(remainder), 1))], axis=1) * weights[:, None]
    table = np.zeros((BINS * BINS, 4))
    for at, share in taps:
        for column in range(4):
            table[:, column] += np.bincount(at, share * stacked[:, column], BINS * BINS)
    table = np.stack([gaussian_blur(table[:, column].reshape(BINS, BINS), EASE).ravel() for column in range(4)], axis=1)
    levels = table[:, :3] / np.maximum(table[:, 3:], 1e-12)
    own = sum(levels[at] * share[:, None] for at, share in taps)
    return own - np.average(own, axis=0, weights=weights)
