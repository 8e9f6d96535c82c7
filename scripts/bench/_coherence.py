"""Down to which wavelength are slopes those of the truth? Where the two are coherent by a half."""

from __future__ import annotations

from typing import Any

import numpy as np

from blender_addon.core.arrays import Floats
from blender_addon.core.surface.texels import Texels

BLOCK = 64
COHERENT = 0.5


def coherent_mm(pixels: Texels, slopes: Floats, true: Floats, counted: Any, pixel_mm: float) -> float:
    """The shortest wavelength in mm at which slopes (n, 3) and the true ones are coherent by a half, 0 where they never are.

    Blocks count whose pixels are all counted (n,).
    """
    ours, theirs, inside = (
        pixels.scatter(plane) for plane in (slopes, np.where(counted[:, None], true, 0), counted.astype(np.float32))
    )
    sums = np.zeros((3, BLOCK, BLOCK))
    window = np.outer(np.hanning(BLOCK), np.hanning(BLOCK))
    for row in range(0, pixels.shape[0] - BLOCK, BLOCK // 2):
        for column in range(0, pixels.shape[1] - BLOCK, BLOCK // 2):
            part = slice(row, row + BLOCK), slice(column, column + BLOCK)
            if inside[part].min() < 0.5:
                continue
            for axis in range(3):
                a, b = (
                    np.fft.fft2((plane[part][..., axis] - plane[part][..., axis].mean()) * window) for plane in (ours, theirs)
                )
                sums += np.stack([(a * b.conj()).real, np.abs(a) ** 2, np.abs(b) ** 2])
    wave = np.fft.fftfreq(BLOCK)
    ring = np.round(np.hypot(wave[:, None], wave[None]) * BLOCK).astype(int).ravel()
    cross, own, other = (np.bincount(ring, total.ravel()) for total in sums)
    coherence = np.where(cross > 0, cross**2 / np.maximum(own * other, 1e-30), 0)[: BLOCK // 2 + 1]
    right = 2 + np.flatnonzero(coherence[2:] >= COHERENT)
    return BLOCK / int(right[-1]) * pixel_mm if len(right) else 0.0
