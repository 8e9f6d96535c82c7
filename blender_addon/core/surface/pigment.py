"""How much darker or brighter is each pigment than the rest? A pigment is identified by its hue, which light seldom has.

The residual of a fitted light is sorted by chromaticity. Places of one chromaticity, wherever they lie, share one pigment, and
their mean residual is its level: the light falls on all places, the paint on these alone.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..arrays import Floats, Ints
from ..rasters import corner_shares
from ..records import record
from .bandpass import gaussian_blur


@record
class PigmentsConstants:
    """Numbers of the table of chromaticities; guesses."""

    bin: float = 0.08
    """Width of a bin, log chromaticity."""
    smoothing: float = 1.0
    """Sigma over which the levels are smoothed, bins: paints closer than this are one."""
    reach: float = 3.84
    """Log chromaticity that the table reaches to, either way."""
    margin: int = 6
    """Bins at the border that nothing falls into, so that smoothing loses nothing."""
    far: tuple[float, ...] = (0.16, 0.32, 0.64, 1.28)
    """Sigmas, in log chromaticity, over which one that no place has takes the levels of those near it."""
    plain: float = 0.02
    """Deviation of the paints' log levels below which a piece counts as plain (a guess)."""
    faint: float = 1e-3
    """Weight of these levels against the mean of the table."""


PIGMENTS = PigmentsConstants()


@record
class Pigments:
    """Log level of paint by its chromaticity. middle: (2,) chromaticity of the table's middle. levels: (bins^2, k), each bin
    `step` wide."""

    middle: Floats
    levels: Floats
    step: float

    def at(self, hue: Floats) -> Floats:
        """(n, k) level where the log chromaticity of texture / light is `hue` (n, 2)."""
        return sum(self.levels[cell] * share[:, None] for cell, share in _round(hue, self.middle, self.step))


def find_pigments(hue: Floats, remainder: Floats, weights: Floats, *, step: float = PIGMENTS.bin) -> Pigments:
    """The levels, of weighted mean 0 over the given places.

    hue: (n, 2) their log chromaticity (`chromaticity`). remainder: (n, k) log(texture / light), a channel or several. weights:
    (n,) >= 0, not all 0. step: log chromaticity within which paints are one.
    """
    middle = np.median(hue, axis=0)
    kinds = remainder.shape[1]
    stacked = np.concatenate([remainder, np.ones((len(remainder), 1))], axis=1) * weights[:, None]
    size = _bins(step) ** 2
    table = np.zeros((size, kinds + 1))
    for cell, share in _round(hue, middle, step):
        for column in range(kinds + 1):
            table[:, column] += np.bincount(cell, share * stacked[:, column], size)
    table = _smoothed(table, PIGMENTS.smoothing)
    faint = PIGMENTS.faint * table[:, -1].mean()
    wide = [_smoothed(table, sigma / step) for sigma in PIGMENTS.far]
    table = table + sum(faint / max(smoothed[:, -1].max(), 1e-12) * smoothed for smoothed in wide)
    found = Pigments(middle, table[:, :-1] / np.maximum(table[:, -1:], 1e-12), step)
    return replace(found, levels=found.levels - np.average(found.at(hue), axis=0, weights=weights))


def chromaticity(log_colour: Floats) -> Floats:
    """(n, 2) log of red and of blue over green, of the log of colours (n, 3)."""
    return log_colour[:, [0, 2]] - log_colour[:, [1]]


def _bins(step: float) -> int:
    return 2 * round(PIGMENTS.reach / step)


def _round(hue: Floats, middle: Floats, step: float) -> tuple[tuple[Ints, Floats], ...]:
    """The four bins round each place and their bilinear shares."""
    bins = _bins(step)
    place = np.clip((hue - middle) / step + bins / 2, PIGMENTS.margin, bins - PIGMENTS.margin - 1.001)
    return corner_shares(place[:, 1], place[:, 0], bins)


def _smoothed(table: Floats, sigma: float) -> Floats:
    """Each column blurred over the bins."""
    bins = round(np.sqrt(len(table)))
    columns = [gaussian_blur(table[:, column].reshape(bins, bins), sigma).ravel() for column in range(table.shape[1])]
    return np.stack(columns, axis=1)
