"""A photograph as it is looked through: grey, at its working size and smaller ones."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...rasters import bilinear
from ...records import record
from ...srgb import decode, encode, luminance
from ...surface.bandpass import gaussian_blur

LONGEST = 2000
"""Longest side in pixels of the largest size at which photo and scan are compared: a pixel of a photo of a whole piece is then
as large as a texel of its scan, 0.05 to 0.1 mm; at 12 MP a scan has no detail to compare."""
SMALLEST = 90
"""Least shorter side in pixels of a smaller copy: a patch with its surroundings must fit in."""


@record
class Photograph:
    """size: (width, height) of the whole photo. levels: grey (h, w) display-encoded 0 to 1, each half of the one before, row 0
    at the bottom."""

    size: tuple[int, int]
    levels: list[Floats]

    def at(self, longest: int) -> Floats:
        """The level whose longest side is nearest to `longest`."""
        return min(self.levels, key=lambda level: abs(float(np.log(max(level.shape) / longest))))


def photograph(pixels: Floats, size: tuple[int, int] | None = None, *, longest: int = LONGEST) -> Photograph:
    """Of a photo (h, w, 3) display-encoded, row 0 at the bottom. size: of the whole photo where `pixels` were made smaller."""
    grey = luminance(decode(pixels))
    levels = [smaller(grey, max(grey.shape) / longest)]
    while max(levels[-1].shape) >= 2 * SMALLEST:
        levels.append(smaller(levels[-1], 2.0))
    return Photograph(size or (pixels.shape[1], pixels.shape[0]), [encode(np.clip(level, 0, 1)) for level in levels])


def smaller(values: Floats, factor: float) -> Floats:
    """A raster (h, w) made smaller by a factor of 1 and more; the means of what each new pixel covers, as near as goes."""
    if factor <= 1.0:
        return values
    whole = int(factor)
    if whole > 1:
        height, width = (side // whole * whole for side in values.shape)
        values = values[:height, :width].reshape(height // whole, whole, width // whole, whole).mean(axis=(1, 3))
    rest = factor / whole
    if rest < 1.001:
        return np.asarray(values, np.float32)
    height, width = (int(side / rest) for side in values.shape)
    row, column = np.indices((height, width)).reshape(2, -1)
    calm = gaussian_blur(values, 0.35 * rest)
    read = bilinear(calm, (column + 0.5) * rest - 0.5, (row + 0.5) * rest - 0.5)
    return np.asarray(read.reshape(height, width), np.float32)
