"""How like are two pictures of a piece? Contrast by wavelength on the object, colour, outline.

Every picture is rendered twice with half of the samples and two seeds. A product of the two halves has no noise in its mean, so
that energies and correlations come out as those of pictures without noise, however few the samples.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from blender_addon.core.arrays import Floats
from blender_addon.core.colour import delta_e_2000, lab
from blender_addon.core.srgb import luminance
from blender_addon.core.surface.bandpass import band_pass, gaussian_blur

BANDS = {"0.2-0.5": (0.2, 0.5), "0.5-1": (0.5, 1.0), "1-3": (1.0, 3.0)}
"""Wavelengths on the object, mm."""
DARKEST = 1e-4
"""Luminance below which the logarithm is taken of this: one sample of a path tracer can be black."""
EDGE = 6
"""Pixels that a piece's outline is drawn in by before anything is compared: there the set shows through the filter."""

Pair = tuple[Floats, Floats]
"""The two halves of one picture, (h, w) or (h, w, 3) each."""


@dataclass(frozen=True)
class Bands:
    """Splits pictures of one view into bands. mask: (h, w) bool, where the piece is. pixel_mm: edge of a pixel on it."""

    mask: Any
    pixel_mm: float

    def of(self, picture: Pair, band: str) -> Pair:
        """The two halves' (k,) log luminance between the band's wavelengths, on the piece's pixels.

        A Gaussian of sigma texels halves the amplitude of waves of about 5.3 sigma; wavelength over 2 pi is taken, as the
        relief's own benches do.
        """
        fine, coarse = (wave / (2 * np.pi) / self.pixel_mm for wave in BANDS[band])
        first, second = (band_pass(log_luminance(half), fine, coarse, mask=self.mask)[self.inside] for half in picture)
        return first, second

    @property
    def inside(self) -> Any:
        """(h, w) bool: the mask without its rim."""
        return shrunk(self.mask, EDGE)


def log_luminance(picture: Floats) -> Floats:
    """(h, w) float32 natural logarithm of the luminance of a linear picture (h, w, 3)."""
    return np.log(np.maximum(luminance(picture), DARKEST)).astype(np.float32)


def minus(first: Pair, other: Pair) -> Pair:
    """The difference of two pictures, half by half."""
    return first[0] - other[0], first[1] - other[1]


def energy(pair: Pair) -> float:
    """Mean square of what both halves show: free of their noise. Not negative."""
    return max(float(np.mean(pair[0] * pair[1])), 0.0)


def contrast(pair: Pair) -> float:
    """Root of the energy: the relative contrast, in units of the natural logarithm."""
    return float(np.sqrt(energy(pair)))


def correlation(first: Pair, other: Pair) -> float:
    """Correlation of what both show, each half against the other picture's other half; NaN where one shows nothing."""
    together = 0.5 * float(np.mean(first[0] * other[1]) + np.mean(first[1] * other[0]))
    size = np.sqrt(energy(first) * energy(other))
    return together / float(size) if size > 0 else float("nan")


def shrunk(mask: Any, pixels: int) -> Any:
    """The mask (h, w) drawn in by some pixels; the picture's own border does not count as an outline."""
    for _ in range(pixels):
        kept = mask.copy()
        kept[1:] &= mask[:-1]
        kept[:-1] &= mask[1:]
        kept[:, 1:] &= mask[:, :-1]
        kept[:, :-1] &= mask[:, 1:]
        mask = kept
    return mask


def overlap(first: Any, other: Any) -> float:
    """Intersection over union of two masks."""
    return float((first & other).sum() / max((first | other).sum(), 1))


def colour_difference(ours: Pair, other: Pair, mask: Any, *, exposure: float, pixel_mm: float, matched: bool) -> float:
    """Median CIEDE2000 of two pictures over the mask (h, w), averaged over about half a millimetre.

    exposure: stops. matched: the second is first given the first's median luminance, since a photo texture knows no absolute
    level: nobody measured how the phone had exposed.
    """
    first, second = (
        _smooth(0.5 * (halves[0] + halves[1]), mask, 0.25 / pixel_mm)[mask] * 2.0**exposure for halves in (ours, other)
    )
    if matched:
        second = second * float(np.median(luminance(first)) / np.median(luminance(second)))
    shown = [lab(np.clip(part, 0.0, 1.0)) for part in (first, second)]
    return float(np.median(delta_e_2000(*shown)))


def _smooth(picture: Floats, mask: Any, sigma: float) -> Floats:
    inside = mask.astype(np.float32)
    weight = np.maximum(gaussian_blur(inside, sigma), 1e-3)
    return np.stack([gaussian_blur(picture[..., k] * inside, sigma) / weight for k in range(3)], axis=-1)


def explained_percent(albedo: Floats, classes: Any) -> float:
    """Percent by which the form itself tells an albedo (n,): the spread of the means of its classes (n,) int.

    Grain, mottling and grog know nothing of the form and cancel in the means; dust in recesses, wash and worn edges do not.
    """
    logs = np.log(np.maximum(albedo, DARKEST))
    count = np.bincount(classes)
    means = np.bincount(classes, logs) / np.maximum(count, 1)
    held = count > 0.002 * len(classes)
    share = count[held] / count[held].sum()
    middle = float(share @ means[held])
    return 100.0 * float(np.sqrt(share @ (means[held] - middle) ** 2))
