"""Are the bands of a relief what they say, and do they add up to it?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.surface.relief.bands import BANDS, band_maps

TEXEL = 0.05


def _ripples(periods: dict[float, float]) -> np.ndarray:
    """A normal map whose slopes across are a sum of sines: period in mm to amplitude."""
    x = np.mgrid[:256, :640][1] * TEXEL
    slope = sum(height * np.sin(2 * np.pi * x / period) for period, height in periods.items())
    vectors = np.stack([slope, 0 * slope, np.ones_like(slope)], axis=-1)
    return 0.5 + 0.5 * vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)


@pytest.mark.parametrize("period", [0.5, 2.2, 8.0])
def test_a_blur_leaves_of_a_ripple_what_the_gaussian_says(period: float) -> None:
    """exp(-2 pi^2 sigma^2 / period^2): the transfer of a Gaussian (any handbook of signals). Thinning and borders: 0.03."""
    maps = band_maps(_ripples({period: 0.2}), np.ones((256, 640), bool), TEXEL)
    for found, sigma in zip(maps, (BANDS.middle_mm, BANDS.broad_mm), strict=True):
        inner = found[:, found.shape[1] // 5 : -found.shape[1] // 5, 0]
        left = np.sqrt(2.0) * float(inner.std()) / 0.2
        assert left == pytest.approx(np.exp(-2.0 * (np.pi * sigma / period) ** 2), abs=0.03)
        assert np.abs(found[..., 1:]).max() < 1e-6


def test_nothing_leaks_in_from_outside_of_the_islands() -> None:
    normals = _ripples({1000.0: 0.0})
    normals[..., 0] = np.where(np.arange(640) < 320, 0.7, 0.0)
    mask = np.zeros((256, 640), bool)
    mask[:, :320] = True
    slope = 0.4
    vectors = np.array([slope, 0.0, 1.0]) / np.hypot(slope, 1.0)
    normals[:, :320] = 0.5 + 0.5 * vectors
    middle, _ = band_maps(normals, mask, TEXEL)
    inside = middle[:, : middle.shape[1] // 2 - 1, 0]
    assert inside == pytest.approx(np.full(inside.shape, slope), abs=1e-3)
