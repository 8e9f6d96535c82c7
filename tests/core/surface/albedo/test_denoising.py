"""Does the camera's noise leave a texture while its edges stay? And are rasters read and grown as they should be?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blender_addon.core.rasters import bilinear
from blender_addon.core.surface.albedo.denoising import without_noise
from blender_addon.core.surface.albedo.removal import without_light
from blender_addon.core.surface.light import lamplight
from blender_addon.core.surface.texels import extend
from blender_addon.core.surface.textured_surface import TexturedSurface, read_surface
from tests.core.surface.relief.test_relief import sheet

SIZE = 256


def _surface() -> TexturedSurface:
    mesh = sheet(8)
    return read_surface(mesh, np.ones(len(mesh.faces), bool), height=SIZE, width=SIZE)


def _steps(surface: TexturedSurface) -> np.ndarray:
    """(n, 3) stripes 16 texels wide, dark and bright."""
    column = surface.texels.index % SIZE
    return np.repeat(np.where((column // 16) % 2, 0.30, 0.06)[:, None], 3, axis=1).astype(np.float32)


def test_noise_goes_and_edges_stay() -> None:
    """Noise of 0.006, as a phone leaves in the dark (common practice), on stripes that it must not soften."""
    surface = _surface()
    clean = _steps(surface)
    noisy = clean + 0.006 * np.random.default_rng(1).standard_normal(clean.shape).astype(np.float32)
    smooth = without_noise(surface, noisy, np.ones_like(noisy))
    column = surface.texels.index % 16
    flat, edge = (column > 4) & (column < 11) & (clean[:, 0] < 0.1), (column == 0) | (column == 15)
    assert (smooth - clean)[flat].std() < 0.55 * (noisy - clean)[flat].std()
    assert np.abs(smooth - clean)[edge].mean() < 0.012  # a blur of the same width would be off by 0.09 there


def test_noise_goes_from_a_dark_crease_as_well() -> None:
    """One paint, light that falls to a twentieth within ten texels: divided by it, noise of 0.004 is as strong as the paint."""
    surface = _surface()
    away = np.abs(surface.texels.index % SIZE - SIZE // 2)
    light = np.repeat((0.05 + 0.95 * np.clip(away / 10 - 0.2, 0, 1))[:, None], 3, axis=1).astype(np.float32)
    noisy = 0.3 * light + 0.004 * np.random.default_rng(2).standard_normal(light.shape).astype(np.float32)
    deep = away < 8
    off = [(texture / light)[deep] - 0.3 for texture in (noisy, without_noise(surface, noisy, light))]
    assert off[1].std() < 0.4 * off[0].std()
    assert abs(off[1].mean() - off[0].mean()) < 0.005  # nothing is made brighter or darker


def test_a_picture_without_noise_keeps_its_texture() -> None:
    """A weave finer than the surroundings in which noise is measured: dark, on half of the picture; brighter and faint, all
    over."""
    surface = _surface()
    row, column = np.divmod(surface.texels.index, SIZE)
    weave = np.sin(2 * np.pi * column / 5) * np.sin(2 * np.pi * row / 5)
    for level, strength, where in ((0.06, 0.5, row < SIZE / 2), (0.3, 0.04, row >= 0)):
        clean = np.repeat((level * (1 + strength * weave * where))[:, None], 3, axis=1).astype(np.float32)
        assert np.abs(without_noise(surface, clean, np.ones_like(clean)) - clean).max() < 0.1 * level * strength


def test_shading_of_the_relief_goes_with_the_light() -> None:
    """On a flat sheet a light can't be distinguished from none, so it is said to be a photo."""
    surface = _surface()
    row = surface.texels.index // SIZE
    shade = 0.3 * np.sin(2 * np.pi * row / 40)
    colours = np.repeat(0.25 * np.exp(shade)[:, None], 3, axis=1).astype(np.float32)
    left = [np.log(without_light(surface, colours, relief=relief, as_photo=True).albedo).std() for relief in (None, shade)]
    assert left[1] < 0.1 * left[0]


def test_bilinear_reads_a_plane_exactly_and_goes_on_beyond_the_rim() -> None:
    raster = np.add.outer(10.0 * np.arange(5), np.arange(7))
    x, y = np.array([0.0, 2.25, 5.9, 9.0, -3.0]), np.array([0.0, 1.5, 3.1, 9.0, 2.0])
    assert bilinear(raster, x, y) == pytest.approx([0.0, 17.25, 36.9, 46.0, 20.0])
    assert bilinear(np.ones((1, 1)), x, y) == pytest.approx(np.ones(5))


def test_growing_keeps_what_is_covered_and_goes_as_far_as_asked() -> None:
    values, mask = np.zeros((9, 9, 2), np.float32), np.zeros((9, 9), bool)
    mask[4, 4] = mask[0, 0] = True
    values[4, 4], values[0, 0] = (3.0, 5.0), (1.0, 1.0)
    grown = extend(values, mask, 2)
    away = np.abs(np.subtract.outer(np.arange(9), [4])) + np.abs(np.arange(9) - 4)
    reached = (away <= 2).reshape(9, 9)
    assert np.allclose(grown[reached], (3.0, 5.0))
    assert grown[8, 8].tolist() == [0.0, 0.0] and grown[8, 0].tolist() == [0.0, 0.0]
    assert grown[0, 2].tolist() == [1.0, 1.0] and grown[0, 8].tolist() == [0.0, 0.0]  # does not run round the rim
    assert np.array_equal(grown[mask], values[mask])


def test_how_long_a_photo_was_exposed_changes_its_albedo_by_that_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    """A texture three stops darker is that much darker without its light too: what is divided out is the same."""
    monkeypatch.setattr(lamplight, "LAMPLIGHT", replace(lamplight.LAMPLIGHT, samples=20_000))
    mesh = sheet(8)
    surface = read_surface(mesh, np.ones(len(mesh.faces), bool), height=64, width=64)
    colours = np.repeat(np.where(surface.position[:, :1] > 15.0, 0.4, 0.1), 3, axis=1).astype(np.float32)
    full, dark = (without_light(surface, c, as_photo=True) for c in (colours, colours / 8))
    assert np.allclose(np.log(dark.shading), np.log(full.shading), atol=0.02)
    assert np.median(dark.albedo) == pytest.approx(np.median(full.albedo) / 8, rel=0.02)
