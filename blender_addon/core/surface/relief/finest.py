"""How fine is the finest detail of slopes or of a picture? The shortest wavelength at which they rise above their noise."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from ...arrays import Bools, Floats
from ...records import record
from ..texels import Texels


@record
class FinestConstants:
    """Numbers of the finest detail that a texture holds."""

    block: int = 64
    """Edge of the blocks in pixels whose spectra are averaged."""
    above: float = 30.0
    """Power over that of the finest wavelengths, which no lens delivers, from which a wavelength counts. A JPEG's noise is
    coarser than that by an order; set on our bench so that what is said is where slopes and truth are coherent by a half."""
    most: int = 400
    """Blocks that are measured, to bound the time."""
    fewest: int = 4
    """Blocks below which nothing is known (a guess)."""


FINEST = FinestConstants()


def finest_mm(pixels: Texels, slope: Floats, weight: Floats, pixel_mm: float) -> float:
    """The shortest wavelength in mm that counts, of slopes (n, 3) where weight (n,) is high; 0 where too little is covered."""
    height, width = pixels.shape
    slopes, weights = pixels.scatter(slope), pixels.scatter(weight)
    blocks = [
        (row, column)
        for row in range(0, height - FINEST.block + 1, FINEST.block // 2)
        for column in range(0, width - FINEST.block + 1, FINEST.block // 2)
        if weights[row : row + FINEST.block, column : column + FINEST.block].min() > 0.5
    ]
    if len(blocks) < FINEST.fewest:
        return 0.0
    parts = (slopes[row : row + FINEST.block, column : column + FINEST.block] for row, column in _some(blocks))
    return _rising(_power(parts), pixel_mm)


def finest_of_picture(bright: Floats, mask: Bools, pixel_mm: float) -> float:
    """The shortest wavelength in mm that counts in a picture (h, w), log luminance; 0 where too little is covered.

    A picture that was enlarged, or whose lens was soft, holds nothing as fine as its pixels. mask: (h', w') where it shows the
    surface, of the same or a smaller size. pixel_mm: edge of the picture's pixels on the surface.
    """
    height, width = bright.shape
    down, across = mask.shape[0] / height, mask.shape[1] / width

    def covered(row: int, column: int) -> bool:
        rows = slice(int(row * down), int(np.ceil((row + FINEST.block) * down)))
        return bool(mask[rows, int(column * across) : int(np.ceil((column + FINEST.block) * across))].all())

    blocks = [
        (row, column)
        for row in range(0, height - FINEST.block + 1, FINEST.block)
        for column in range(0, width - FINEST.block + 1, FINEST.block)
        if covered(row, column)
    ]
    if len(blocks) < FINEST.fewest:
        return 0.0
    parts = (
        bright[row : row + FINEST.block, column : column + FINEST.block, None].astype(np.float32)
        for row, column in _some(blocks)
    )
    return _rising(_power(parts), pixel_mm)


def _some(blocks: list[tuple[int, int]]) -> list[tuple[int, int]]:
    return blocks[:: max(1, len(blocks) // FINEST.most)]


def _power(parts: Iterable[Floats]) -> Floats:
    """(b, b) power of parts (b, b, k), added up."""
    window = np.outer(np.hanning(FINEST.block), np.hanning(FINEST.block))
    total = np.zeros((FINEST.block, FINEST.block))
    for part in parts:
        for axis in range(part.shape[2]):
            centred = part[..., axis] - part[..., axis].mean()
            total += np.abs(np.fft.fft2(centred * window)) ** 2
    return total


def _rising(power: Floats, pixel_mm: float) -> float:
    wave = np.fft.fftfreq(FINEST.block)
    radius = np.hypot(wave[:, None], wave[None])
    ring = np.round(radius * FINEST.block).astype(int)
    mean = np.bincount(ring.ravel(), power.ravel()) / np.maximum(np.bincount(ring.ravel()), 1)
    top = mean[int(0.42 * FINEST.block) : FINEST.block // 2 + 1]
    floor = float(top.min())
    above = np.flatnonzero(mean[: FINEST.block // 2] >= FINEST.above * floor)
    last = max(float(above[-1]) if len(above) else 0.0, 2.0)
    return float(FINEST.block / (last + 0.5) * pixel_mm)  # a ring reaches half a step on
