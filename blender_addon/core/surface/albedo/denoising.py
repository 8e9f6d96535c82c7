"""Smooths the camera's noise out of a texture, most where the division by a faint light would amplify it.

In the albedo a place differs from its surroundings by its paint and by noise, no longer by the light, so that
averaging can be strong. Whatever varies more than noise does, edges and texture, stays (Lee 1980, "Digital image enhancement
and noise filtering by use of local statistics").
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...records import record
from ...threads import in_parallel
from ..bandpass import gaussian_blur
from ..textured_surface import TexturedSurface


@record
class DenoisingConstants:
    """Numbers of the denoising."""

    noise_sigma: float = 1.5
    """Sigma, in texels, of the surroundings in which noise is measured (a guess)."""
    levels: int = 12
    """Classes of brightness, equally filled, in which noise is measured: a guess."""
    passes: tuple[tuple[float, float], tuple[float, float]] = ((1.5, 4.0), (3.0, 8.0))
    """Sigma in texels of the surroundings, and how many times the noise is taken for noise: a variance of few texels scatters
    up to twice its standard deviation; what is left after the first pass is JPEG's besides, whose blocks are not counted as
    noise."""
    faint: float = 0.02
    """Relative noise that no eye sees (common practice) and that is left alone, together with fine texture in bright parts."""
    noisiest: float = 0.006
    """Linear standard deviation: more is texture, not noise. What a phone leaves in a picture in a dim room (common
    practice)."""


DENOISING = DenoisingConstants()


def without_noise(surface: TexturedSurface, colours: Floats, shading: Floats) -> Floats:
    """Linear texture colours (n, 3) with the camera's noise smoothed, from the `shading` (n, 3) that they will be divided by.

    Each texel of the albedo moves towards the mean of its surroundings by the part of their variance that is noise, first among
    its next neighbours, then in a wider circle.
    """
    mask, light = surface.texels.mask(), np.maximum(shading, 1e-3)
    sizes = {DENOISING.noise_sigma, *(sigma for sigma, _ in DENOISING.passes)}
    area = {sigma: np.maximum(gaussian_blur(mask.astype(np.float32), sigma), 1e-3) for sigma in sizes}

    def averaged(values: Floats, sigma: float) -> Floats:
        raster = gaussian_blur(surface.texels.scatter(values), sigma) / area[sigma]
        return raster.reshape(-1)[surface.texels.index]

    def calmed(channel: int) -> Floats:
        shown = colours[:, channel]
        level = averaged(shown, DENOISING.noise_sigma)
        left = noise_variance(level, averaged(np.square(shown - level), DENOISING.noise_sigma)) / np.square(light[:, channel])
        albedo = shown / light[:, channel]
        for sigma, share in DENOISING.passes:
            mean, noise = averaged(albedo, sigma), averaged(left, sigma)
            variance = averaged(np.square(albedo - mean), sigma)
            seen = np.clip(np.sqrt(noise) / (DENOISING.faint * np.maximum(mean, 1e-4)) - 1, 0, 1)
            kept = np.clip(1 - share * seen * noise / np.maximum(variance, 1e-12), 0, 1)
            albedo = mean + kept * (albedo - mean)
            left = left * (kept**2 + (1 - kept**2) / (4 * np.pi * sigma**2))  # a Gaussian mean of white noise
        return (albedo * light[:, channel]).astype(np.float32)

    return np.stack(list(in_parallel(calmed, range(3))), axis=1)


def noise_variance(mean: Floats, variance: Floats) -> Floats:
    """(n,) variance of the noise at local means of brightness (n,), from local variances (n,).

    A camera's noise has a variance that goes straight up with the light (Foi et al. 2008, "Practical Poissonian-Gaussian noise
    modeling"). At each brightness the calmest fifth of the places shows hardly more than noise; the highest line that lies
    above none of them is taken, so that a brightness which only edges and fine texture have says nothing.
    """
    edges = np.quantile(mean, np.linspace(0, 1, DENOISING.levels + 1))
    level = np.clip(np.searchsorted(edges, mean) - 1, 0, DENOISING.levels - 1)
    rows = [np.flatnonzero(level == number) for number in range(DENOISING.levels)]
    light, calm = np.array([(np.median(mean[row]), np.quantile(variance[row], 0.2)) for row in rows if len(row)]).T
    best = (float(calm.min()), 0.0)
    for upper in range(len(calm)):
        for lower in range(upper):
            rise = (calm[upper] - calm[lower]) / max(light[upper] - light[lower], 1e-9)
            start = calm[upper] - rise * light[upper]
            if rise >= 0 and start >= 0 and (start + rise * light <= calm + 1e-12).all():
                best = max(best, (start, rise), key=lambda line: float((line[0] + line[1] * light).sum()))
    return np.minimum(best[0] + best[1] * mean, DENOISING.noisiest**2)
