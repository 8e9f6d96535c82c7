"""Paint identified by its colour in a texture: hues next to each other, cuts that are tinted by what lies round them."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from blender_addon.core.srgb import luminance
from blender_addon.core.surface.albedo.residual import residual_shading
from blender_addon.core.surface.light.lamplight import Lit, fit_surface_light
from blender_addon.core.surface.paint import PAINTS, paint_of, shading_tint
from blender_addon.core.surface.pigment import PIGMENTS
from blender_addon.core.surface.textured_surface import TexturedSurface, read_surface
from tests.core.surface.relief.test_relief import sheet

LIGHT, DARK = np.array([0.420, 0.260, 0.130]), np.array([0.245, 0.143, 0.069])  # 0.57 darker, 0.06 apart in log red over green
NOISE = 0.01


@cache
def _surface() -> TexturedSurface:
    mesh = sheet(high_mm=2.0)
    return read_surface(mesh, np.ones(len(mesh.faces), bool), height=512, width=512)


def _grained(surface: TexturedSurface) -> np.ndarray:
    """(n,) bool: the dark half of a grain of 3 mm."""
    return np.sin(2 * np.pi * surface.position[:, 1] / 3.0) > 0


def _lit(surface: TexturedSurface, colours: np.ndarray) -> Lit:
    """An even white light on a piece that lies open to it: what is found of the paint does not depend on the fit."""
    lit = fit_surface_light(surface, colours)
    flux = np.zeros_like(lit.shading.flux)
    flux[:, 2] = 1.0
    shading = replace(lit.shading, irradiance=np.ones_like(lit.shading.irradiance), flux=flux)
    return replace(lit, light=replace(lit.light, pigment=0.2), shading=shading, openness=np.ones_like(lit.openness))


def _noisy(colours: np.ndarray) -> np.ndarray:
    return (colours * np.exp(np.random.default_rng(1).normal(0, NOISE, colours.shape))).astype(np.float32)


def test_paints_whose_hues_are_next_to_each_other_are_distinguished(monkeypatch: pytest.MonkeyPatch) -> None:
    surface = _surface()
    dark = _grained(surface)
    colours = _noisy(np.where(dark[:, None], DARK, LIGHT))
    paint = paint_of(surface, colours, _lit(surface, colours))
    true = np.log(luminance(DARK) / luminance(LIGHT))
    inside = np.abs(np.sin(2 * np.pi * surface.position[:, 1] / 3.0)) > 0.5
    apart = lambda level: level[dark & inside].mean() - level[~dark & inside].mean()  # noqa: E731
    assert abs(apart(paint.level) - true) < 0.15 * abs(true)  # a bin's easing takes a tenth
    monkeypatch.setattr("blender_addon.core.surface.paint.PAINTS", replace(PAINTS, fine=PIGMENTS.bin))
    assert abs(apart(paint_of(surface, colours, _lit(surface, colours)).level)) < 0.3 * abs(true)  # what the light's bins tell
    assert np.allclose(paint.hue[~dark & inside].mean(axis=0), np.log(LIGHT[[0, 2]] / LIGHT[1]), atol=0.01)


def test_a_tinted_cut_is_less_of_a_paint_once_the_tint_is_taken_out() -> None:
    """Where light falls off it turns red here, on the mesh as in the cut, as the darker paint does by half as much."""
    surface = _surface()
    dark = _grained(surface)
    cut = 0.7 * (np.abs(surface.position[:, 0] - 15) < 0.4)
    tint = np.array([-0.045, 0.0, 0.045])
    colours = _noisy(np.where(dark[:, None], DARK, LIGHT) * np.exp(-cut[:, None] * (1 + tint)))
    lit = _lit(surface, colours)
    hollow = -0.5 * np.cos(surface.vertices[:, :1])  # the mesh's own shading, of the same tint
    lit = replace(lit, shading=replace(lit.shading, irradiance=np.exp(hollow * (1 + tint)).astype(np.float32)))
    colours = colours * surface.texels.interpolate(surface.faces, lit.shading.irradiance)
    paint = paint_of(surface, colours, lit)
    taken = [
        float(level[(cut > 0) & ~dark].mean() - level[(cut == 0) & ~dark].mean()) for level in (paint.level, paint.untinted)
    ]
    assert taken[0] < -0.25
    assert abs(taken[1]) < 0.05


def test_the_tint_of_shading_is_read_off_the_mesh() -> None:
    mesh = sheet()
    rng = np.random.default_rng(2)
    shade = rng.normal(0, 0.3, len(mesh.vertices))
    light = np.exp(np.stack([shade * 0.95, shade, shade * 1.1], axis=1))
    light[rng.random(len(light)) < 0.01, 0] *= 1.5  # outliers
    red, blue = shading_tint(light, mesh.faces)
    assert abs(red + 0.05) < 0.03  # luminance is green for the most part
    assert abs(blue - 0.1) < 0.02


def test_a_plain_piece_has_no_paint() -> None:
    surface = _surface()
    colours = _noisy(np.tile(LIGHT, (len(surface), 1)))
    plain = _lit(surface, colours)
    plain = replace(plain, light=replace(plain.light, pigment=0.0))
    paint = paint_of(surface, colours, plain)
    assert not paint.level.any()
    assert not paint.hue.any()
    deep = np.full(len(surface), -3.0, np.float32)
    assert np.abs(residual_shading(surface, colours, plain, np.ones_like(colours), deep)).max() < NOISE
    painted = replace(plain, light=replace(plain.light, pigment=0.2))  # and where nothing lies in the open, nothing breaks
    assert np.abs(residual_shading(surface, colours, painted, np.ones_like(colours), deep)).max() < 0.1
