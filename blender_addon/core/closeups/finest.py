"""How fine is the finest detail that a reading carries? The wavelength at which its slopes rise out of their noise."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from .photo_set import Reading

BLOCK = 64
"""Edge of the blocks in pixels whose spectra are averaged."""
ABOVE = 4.0
"""Power over the noise's from which a wavelength counts; at 4 the amplitude is right to a half. The noise is what is left at
the finest wavelengths, which no lens delivers."""
MOST = 400


def finest_mm(reading: Reading) -> float:
    """The shortest wavelength in mm that counts; 0 where too little is covered to say."""
    height, width = reading.pixels.shape
    slopes = reading.pixels.scatter(reading.slope)
    weight = reading.pixels.scatter(reading.weight)
    blocks = [
        (row, column)
        for row in range(0, height - BLOCK + 1, BLOCK // 2)
        for column in range(0, width - BLOCK + 1, BLOCK // 2)
        if weight[row : row + BLOCK, column : column + BLOCK].min() > 0.5
    ]
    if len(blocks) < 4:
        return 0.0
    window = np.outer(np.hanning(BLOCK), np.hanning(BLOCK))
    total = np.zeros((BLOCK, BLOCK))
    for row, column in blocks[:: max(1, len(blocks) // MOST)]:
        part = slopes[row : row + BLOCK, column : column + BLOCK]
        for axis in range(3):
            one = part[..., axis] - part[..., axis].mean()
            total += np.abs(np.fft.fft2(one * window)) ** 2
    return _rising(total, reading.pixel_mm)


def _rising(power: Floats, pixel_mm: float) -> float:
    wave = np.fft.fftfreq(BLOCK)
    radius = np.hypot(wave[:, None], wave[None])
    ring = np.round(radius * BLOCK).astype(int)
    mean = np.bincount(ring.ravel(), power.ravel()) / np.maximum(np.bincount(ring.ravel()), 1)
    top = mean[int(0.42 * BLOCK) : BLOCK // 2 + 1]
    floor = float(top.min())
    rings = np.arange(2, BLOCK // 2)
    under = np.flatnonzero(mean[rings] < ABOVE * floor)
    last = rings[under[0]] if len(under) else BLOCK // 2
    return float(BLOCK / last * pixel_mm)
