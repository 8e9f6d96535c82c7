"""The second pass over a full texture: what is there comes back, what is not stays away, and the work stays in bounds."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blender_addon.core.mesh.triangles import TriangleMesh, unit
from blender_addon.core.surface.bandpass import gaussian_blur
from blender_addon.core.surface.patches import PATCH
from blender_addon.core.surface.relief import finer
from blender_addon.core.surface.relief.finest import finest_of_picture
from blender_addon.core.surface.relief.recovery import Photographed, recover
from blender_addon.core.surface.textured_surface import TexturedSurface, read_surface
from blender_addon.job.runner import finish
from tests.core.surface.relief.test_relief import sheet

SIDE = 520
"""Texels of the full texture, each 0.019 mm; one of no more than 512 is never halved."""
FLUX = np.array([0.55, 0.25, 0.8])


def finely_worked(shade: float) -> tuple[TriangleMesh, np.ndarray, np.ndarray]:
    """A waved sheet of 10 mm, its full texture (h, w) in linear light with grooves of 0.16 to 0.3 mm that only it knows, and
    their true slopes (h, w, 3). shade: how strong they are; 0 for none. The lens blurs by 0.8 texels; noise is 1 %."""
    mesh = sheet(40, 9.6, 5.0, 0.35)
    surface = read_surface(mesh, np.ones(len(mesh.faces), bool), height=SIDE, width=SIDE)
    rng = np.random.default_rng(3)
    slope = np.zeros((len(surface), 3))
    for _ in range(40):
        wave = unit(np.append(rng.normal(size=2), 0)) * 2 * np.pi / rng.uniform(0.16, 0.3)
        part = shade * np.cos(surface.position @ wave + rng.uniform(0, 6.28))
        slope += part[:, None] * wave / np.linalg.norm(wave)
    slope -= (slope * surface.normal).sum(axis=1, keepdims=True) * surface.normal
    light = np.maximum(unit(surface.normal - slope) @ FLUX, 0.02)
    seen = gaussian_blur(surface.texels.scatter(0.6 * light), 0.8) * np.exp(rng.normal(0, 0.01, (SIDE, SIDE)))
    return mesh, seen.astype(np.float32), surface.texels.scatter(slope)


def _first_pass(mesh: TriangleMesh, picture: np.ndarray) -> finer.Base:
    """What the first pass makes of the halved picture (h, w), with a flat normal map."""
    half = 0.25 * (picture[::2, ::2] + picture[1::2, ::2] + picture[::2, 1::2] + picture[1::2, 1::2])
    surface = read_surface(mesh, np.ones(len(mesh.faces), bool), height=SIDE // 2, width=SIDE // 2)
    colours = np.repeat(half.reshape(-1)[surface.texels.index, None], 3, axis=1).astype(np.float32)
    recovery = finish(recover([Photographed(surface, colours)], largest_mm=3.0))
    flat = np.zeros((SIDE // 2, SIDE // 2, 3), np.float32) + (0.5, 0.5, 1.0)
    return finer.Base(surface, recovery, flat.astype(np.float32))


def _level() -> TexturedSurface:
    mesh = sheet(40, 30.0, 15.0, 0.0)
    return read_surface(mesh, np.ones(len(mesh.faces), bool), height=256, width=256)


def test_noise_of_a_picture_that_was_enlarged_is_no_relief() -> None:
    """Noise of the halved picture, enlarged, is as coarse as fine marks, and as strong where the light falls squarely."""
    mesh, picture, _ = finely_worked(0.0)
    grain = gaussian_blur(np.random.default_rng(5).normal(0, 1.0, picture.shape).astype(np.float32), 1.2)
    noisy = picture * np.exp(0.03 * grain / grain.std())
    bright = np.log(np.maximum(noisy, 1e-4)).astype(np.float16)
    assert finish(finer.read_finer(_first_pass(mesh, noisy), bright, detail_mm=0.1)) is None


def test_parts_hold_each_face_once_and_no_more_texels_than_allowed(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(finer, "FINER", replace(finer.FINER, most_texels=9_000))
    surface = _level()
    parts = list(finer._parts(surface, (512, 512)))
    assert np.array_equal(np.sort(np.concatenate(parts)), np.arange(len(surface.faces)))
    a_face = 0.96**2 * 512**2 / len(surface.faces)
    assert len(parts) > 20 and max(map(len, parts)) * a_face < 9_000 * 1.01


def test_cells_follow_the_texels_what_they_hold_and_the_size_of_the_piece() -> None:
    fine = finer.fine_cell_mm(0.02, 0.05, area_mm2=100.0)
    soft = finer.fine_cell_mm(0.02, 0.15, area_mm2=100.0)
    large = finer.fine_cell_mm(0.02, 0.05, area_mm2=1e6)
    assert fine == pytest.approx(0.85 * 0.02)  # no finer than the texels
    assert soft == pytest.approx(0.15 / 5, rel=0.06)  # some five cells a wave
    assert 1e6 / (PATCH.spacing * PATCH.cells * large) ** 2 == pytest.approx(finer.FINER.most_patches)


def test_a_picture_that_was_enlarged_holds_nothing_as_fine_as_its_pixels() -> None:
    rng = np.random.default_rng(2)
    sharp = 0.5 + 0.1 * gaussian_blur(rng.normal(0, 1, (512, 512)).astype(np.float32), 0.8)
    twice = gaussian_blur(np.repeat(np.repeat(sharp[:256, :256], 2, axis=0), 2, axis=1), 1.0)
    mask = np.ones((256, 256), bool)
    stored = (np.log(np.rint(255 * picture) / 255).astype(np.float16) for picture in (sharp, twice))  # 8 bits
    fine, soft = (finest_of_picture(bright, mask, 0.025) for bright in stored)
    assert 2 * 0.025 <= fine < 4 * 0.025  # where a Gaussian of 0.8 pixels leaves 30 times what it leaves of the finest waves
    assert soft > 3.9 * 0.025  # of which the halved picture held no more
    assert finest_of_picture(sharp, ~mask, 0.025) == 0.0


def test_progress_of_a_part_lies_within_it() -> None:
    assert [finer._within(0.2, 0.4, share) for share in (0.0, 0.5, 1.0)] == pytest.approx([0.2, 0.4, 0.6])
