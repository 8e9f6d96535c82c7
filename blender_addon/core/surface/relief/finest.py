"""How fine is the finest detail of slopes or of a picture? The shortest wavelength at which they rise above their noise."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from ...arrays import Bools, Floats
from ..texels import Texels

BLOCK = 64
"""Edge of the blocks in pixels whose spectra are averaged."""
ABOVE = 30.0
"""Power over that of the finest wavelengths, which no lens delivers, from which a wavelength counts. A JPEG's noise is coarser
than that by an order; set on our bench so that what is said is where slopes and truth are coherent by a half."""
MOST = 400
"""Blocks that are measured, to bound the time."""
FEWEST = 4
"""Blocks below which nothing is known."""


def finest_mm(pixels: Texels, slope: Floats, weight: Floats, pixel_mm: float) -> float:
    """The shortest wavelength in mm that counts, of slopes (n, 3) where weight (n,) is high; 0 where too little is covered."""
    height, width = pixels.shape
    slopes, weights = pixels.scatter(slope), pixels.scatter(weight)
    blocks = [
        (row, column)
        for row in range(0, height - BLOCK + 1, BLOCK // 2)
        for column in range(0, width - BLOCK + 1, BLOCK // 2)
        if weights[row : row + BLOCK, column : column + BLOCK].min() > 0.5
    ]
    if len(blocks) < FEWEST:
        return 0.0
    parts = (slopes[row : row + BLOCK, column : column + BLOCK] for row, column in _some(blocks))
    return _rising(_power(parts), pixel_mm)


def finest_of_picture(bright: Floats, mask: Bools, pixel_mm: float) -> float:
    """The shortest wavelength in mm that counts in a picture (h, w), log luminance; 0 where too little is covered.

    A picture that was enlarged, or whose lens was soft, holds nothing as fine as its pixels. mask: (h', w') where it shows the
    surface, of the same or a smaller size. pixel_mm: edge of the picture's pixels on the surface.
    """
    height, width = bright.shape
    down, across = mask.shape[0] / height, mask.shape[1] / width

    def covered(row: int, column: int) -> bool:
        rows = slice(int(row * down), int(np.ceil((row + BLOCK) * down)))
        return bool(mask[rows, int(column * across) : int(np.ceil((column + BLOCK) * across))].all())

    blocks = [
        (row, column)
        for row in range(0, height - BLOCK + 1, BLOCK)
        for column in range(0, width - BLOCK + 1, BLOCK)
        if covered(row, column)
    ]
    if len(blocks) < FEWEST:
        return 0.0
    parts = (bright[row : row + BLOCK, column : column + BLOCK, None].astype(np.float32) for row, column in _some(blocks))
    return _rising(_power(parts), pixel_mm)


def _some(blocks: list[tuple[int, int]]) -> list[tuple[int, int]]:
    return blocks[:: max(1, len(blocks) // MOST)]


def _power(parts: Iterable[Floats]) -> Floats:
    """(BLOCK, BLOCK) power of parts (BLOCK, BLOCK, k), added up."""
    window = np.outer(np.hanning(BLOCK), np.hanning(BLOCK))
    total = np.zeros((BLOCK, BLOCK))
    for part in parts:
        for axis in range(part.shape[2]):
            centred = part[..., axis] - part[..., axis].mean()
            total += np.abs(np.fft.fft2(centred * window)) ** 2
    return total


def _rising(power: Floats, pixel_mm: float) -> float:
    wave = np.fft.fftfreq(BLOCK)
    radius = np.hypot(wave[:, None], wave[None])
    ring = np.round(radius * BLOCK).astype(int)
    mean = np.bincount(ring.ravel(), power.ravel()) / np.maximum(np.bincount(ring.ravel()), 1)
    top = mean[int(0.42 * BLOCK) : BLOCK // 2 + 1]
    floor = float(top.min())
    above = np.flatnonzero(mean[: BLOCK // 2] >= ABOVE * floor)
    last = max(float(above[-1]) if len(above) else 0.0, 2.0)
    return float(BLOCK / (last + 0.5) * pixel_mm)  # a ring reaches half a step on
