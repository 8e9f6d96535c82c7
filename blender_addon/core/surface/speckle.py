"""Which texels show a speck of dust or paint rather than shape? Small round dark or bright spots.

A tool mark is long: across it brightness bends, along it it does not. A speck bends both ways, so the smaller curvature (the
smaller eigenvalue of the Hessian) tells the two apart at equal contrast.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats
from ..records import record
from ..statistics import robust_deviation
from ..threads import in_parallel
from .bandpass import gaussian_blur
from .texels import extend


@record
class SpecksConstants:
    """Numbers of the search for specks."""

    sizes_mm: tuple[float, float] = (0.09, 0.14)
    """Blur at which spots are looked for: dots of matting spray are 0.1 to 0.3 mm across (common practice)."""
    stands_out: float = 2.5
    """Robust deviations of the smaller curvature from which a spot is taken (a guess)."""


SPECKS = SpecksConstants()


def speckles(raster: Floats, mask: Bools, texel_mm: float) -> Bools:
    """(h, w) bool: texels inside `mask` of dark spots in `raster` (log brightness)."""

    def of_size(size: float) -> Bools:
        sigma = max(size / texel_mm, 0.8)
        smaller, trace = _curvature(raster, mask, sigma)
        inside = smaller[mask][:: max(1, int(mask.sum()) // 300_000)]
        spot = (smaller > SPECKS.stands_out * (robust_deviation(inside) + 1e-9)) & mask
        for _ in range(int(np.ceil(1.2 * sigma))):
            spot = (grown(spot) & (trace > 0)) | spot
        return grown(spot) & mask

    return np.logical_or.reduce(list(in_parallel(of_size, SPECKS.sizes_mm)))


def closed(raster: Floats, mask: Bools, holes: Bools, sigma: float = 1.5) -> Floats:
    """The raster with `holes` filled from the texels round them (normalised convolution).

    raster: (h, w). mask: (h, w) texels that count. holes: (h, w) those to fill. sigma: of the Gaussian, in texels.
    """
    return np.where(holes, masked_blur(raster, mask & ~holes, sigma), raster).astype(np.float32)


def masked_blur(raster: Floats, mask: Bools, sigma: float) -> Floats:
    """Gaussian mean over the texels inside the mask alone."""
    inside = mask.astype(np.float32)
    return gaussian_blur(np.where(mask, raster, 0), sigma) / np.maximum(gaussian_blur(inside, sigma), 1e-3)


def _curvature(raster: Floats, mask: Bools, sigma: float) -> tuple[Floats, Floats]:
    """Smaller eigenvalue and trace of the Hessian of the blurred raster, a texel."""
    smooth = extend(masked_blur(raster, mask, sigma), mask, 2)
    left, right = np.roll(smooth, 1, 1), np.roll(smooth, -1, 1)
    across: Floats = left + right - 2 * smooth
    along: Floats = np.roll(smooth, 1, 0) + np.roll(smooth, -1, 0) - 2 * smooth
    mixed = 0.25 * (np.roll(left, 1, 0) + np.roll(right, -1, 0) - np.roll(right, 1, 0) - np.roll(left, -1, 0))
    trace: Floats = across + along
    return 0.5 * (trace - np.sqrt((across - along) ** 2 + 4 * mixed**2)), trace


def grown(marks: Bools) -> Bools:
    """Marks and their four neighbours."""
    out = marks.copy()
    out[1:] |= marks[:-1]
    out[:-1] |= marks[1:]
    out[:, 1:] |= marks[:, :-1]
    out[:, :-1] |= marks[:, 1:]
    return out
