"""Which part of a close-up is sharp, and what is the finest detail in it?

Blur grows with the distance from the plane in focus, and the scan gives each pixel's depth. So sharpness is not judged pixel by
pixel, where a smooth place looks like a blurred one, but depth by depth: by the share of the picture's variation that is finer
than a few pixels.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from ..records import record
from ..surface.bandpass import band_pass, gaussian_blur
from ..surface.texels import Texels

SLICES = 24
"""Depths at which sharpness is judged: a guess."""
FINE, COARSE = (0.7, 1.5), (2.0, 4.0)
"""Bands in pixels, as pairs of Gaussian sigmas."""
LEVEL = 8.0
"""Sigma in pixels of the local mean by which variation is divided."""
SHARP = 0.30
"""Share of the best depth's measure from which a depth counts as sharp: a guess."""
VARIED = 0.05
"""Share of the most varied depth's coarse variation below which a depth shows next to nothing but noise, which would look finer
than anything that is sharp: a guess. Nothing is read there, and little is lost."""
FEWEST = 400
"""Pixels at a depth below which its sharpness is not judged: a guess."""


@record
class Focus:
    """weight: (n,) 0 to 1, sharp or not. nearest, furthest: depths in mm between which it is sharp."""

    weight: Floats
    nearest: float
    furthest: float


def in_focus(pixels: Texels, seen: Floats, depth: Floats) -> Focus:
    """The focus from all photos: seen (n, k) light, depth (n,) mm along the viewing axis."""
    mask = pixels.mask()
    fine, coarse = np.zeros(len(seen)), np.zeros(len(seen))
    for k in range(min(seen.shape[1], 4)):
        level = max(float(np.median(seen[:, k])), 1e-6)
        raster = pixels.scatter(seen[:, k])
        near = np.maximum(gaussian_blur(raster, LEVEL), 1e-6).reshape(-1)[pixels.index]
        lit = near > 0.4 * level  # what is dark shows noise, which looks fine
        for total, (low, high) in ((fine, FINE), (coarse, COARSE)):
            changed = band_pass(raster, low, high, mask=mask).reshape(-1)[pixels.index] / near
            total += np.where(lit, np.minimum(changed**2, 0.01), 0)
    low, high = np.quantile(depth, [0.001, 0.999])
    place = np.clip((depth - low) / max(high - low, 1e-6) * SLICES, 0, SLICES - 1e-3)
    number = np.bincount(place.astype(int), minlength=SLICES)
    over, under = (_eased(np.bincount(place.astype(int), energy, SLICES).astype(float)) for energy in (fine, coarse))
    many = _eased(number.astype(float))
    varied = under / np.maximum(many, 1)
    judged = (many > FEWEST) & (varied > VARIED * float(np.where(many > FEWEST, varied, 0).max()))
    ratio = np.where(judged, over / np.maximum(under, 1e-12), 0)
    noise = float(ratio[ratio > 0].min()) if (ratio > 0).any() else 0.0
    best = float(ratio.max())
    if best <= 0 or best < 1.25 * noise:  # equally sharp everywhere: great depth of field, or a flat piece
        return Focus(np.ones(len(seen), np.float32), float(low), float(high))
    share = np.clip((ratio - noise * 0.8) / (best - noise * 0.8), 0, 1)
    good = np.flatnonzero(share >= SHARP)
    middles = low + (np.arange(SLICES) + 0.5) / SLICES * (high - low)
    weight = np.interp(depth, middles, np.clip((share - 0.5 * SHARP) / (0.5 * SHARP), 0, 1))
    return Focus(weight.astype(np.float32), float(middles[good[0]]), float(middles[good[-1]]))


def _eased(values: Floats) -> Floats:
    return np.convolve(np.pad(values, 1, mode="edge"), [0.25, 0.5, 0.25], mode="valid")
