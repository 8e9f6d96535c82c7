"""Marks that are shading grow where the light grazes; those that are paint do not."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.surface.patches import PATCH, Patches, wave_vectors
from blender_addon.core.surface.relief.following import ALL_RELIEF, FOLLOWING, Marks, following, weakened
from blender_addon.core.surface.relief.inversion import INVERSION, Signal

CELL_MM = 0.07
COUNT = 96


def _patches() -> Patches:
    rng = np.random.default_rng(5)
    axes = [np.tile(np.eye(3, dtype=np.float32)[axis], (COUNT, 1)) for axis in (2, 0, 1)]
    return Patches(CELL_MM, rng.uniform(0, 60, (COUNT, 3)).astype(np.float32), *axes)


def _heights(rng: np.random.Generator) -> np.ndarray:
    """(COUNT, cells, cells) random heights in mm that fill all bands alike."""
    kx, ky = wave_vectors(CELL_MM)
    wave = np.hypot(kx, ky)
    keep = np.where((wave > 2 * np.pi / 4.0) & (wave < 2 * np.pi / 0.25), 1.0 / np.maximum(wave, 1e-6) ** 2, 0.0)
    return np.fft.irfft2(
        keep * np.fft.rfft2(rng.standard_normal((COUNT, PATCH.cells, PATCH.cells))), s=(PATCH.cells, PATCH.cells)
    )


def _signal(paint: float, oblique: tuple[float, float]) -> Signal:
    """Relief under a light that falls ever more obliquely from one side of each patch to the other, with `paint` times as much
    power of marks that have nothing to do with it."""
    rng = np.random.default_rng(7)
    height = _heights(rng)
    slope = (np.roll(height, -1, 2) - np.roll(height, 1, 2)) / (2 * CELL_MM)
    ramp = np.linspace(*oblique, PATCH.cells)[None, None, :]
    marks = _heights(rng)
    marks = (np.roll(marks, -1, 1) - np.roll(marks, 1, 1)) / (2 * CELL_MM)
    shading = -ramp * slope
    closed = shading + np.sqrt(paint) * marks * shading.std() / marks.std()
    tangential = np.zeros((COUNT, 2, INVERSION.coarse, INVERSION.coarse), np.float32)
    tangential[:, 0] = ramp.reshape(1, INVERSION.coarse, -1).mean(axis=2)[:, None, :]
    known = np.ones((COUNT, PATCH.cells, PATCH.cells), bool)
    return Signal(closed.astype(np.float32), closed.astype(np.float32), None, known, tangential, np.zeros((COUNT, 4, 24, 24)))


def _all_read(signal: Signal) -> Marks:
    """What is found where all that is shown was read as shading."""
    return following(_patches(), signal, signal.closed)


def test_marks_that_were_read_apart_from_the_paint_stay() -> None:
    found = following(_patches(), _signal(9.0, (0.2, 1.2)), _signal(0.0, (0.2, 1.2)).closed)
    assert max(found.part) < 0.3 and min(found.kept) == 1.0


def test_shading_follows_the_light_and_paint_does_not() -> None:
    bare, painted = (_all_read(_signal(paint, (0.2, 1.2))) for paint in (0.0, 9.0))
    assert all(bare.known) and all(painted.known)
    assert min(bare.kept) == 1.0  # all of it is shading
    assert max(painted.part) < 0.3  # a tenth of the power is; what is found may be twice that by chance
    assert max(painted.kept) < 0.7


def test_under_an_even_light_nothing_is_known() -> None:
    even = _all_read(_signal(9.0, (0.5, 0.55)))
    assert not any(even.known)
    assert even.kept == (1.0, 1.0, 1.0)


@pytest.mark.parametrize("band", range(3))
def test_a_band_that_is_paint_is_taken_out_and_the_others_stay(band: int) -> None:
    kept = tuple(0.0 if place == band else 1.0 for place in range(3))
    fields = np.zeros((1, 1, PATCH.cells, PATCH.cells), np.float32)
    lengths = []
    for place, (fine, coarse) in enumerate(FOLLOWING.bands_mm):
        cycles = round(PATCH.cells * CELL_MM / np.sqrt(fine * coarse))
        wave = np.cos(2 * np.pi * cycles * np.arange(PATCH.cells) / PATCH.cells)
        lengths.append(cycles)
        fields[0, 0] += wave[None, :] if place != 1 else wave[:, None]
    patches = Patches(CELL_MM, *(np.zeros((1, 3), np.float32) for _ in range(4)))
    left = np.abs(np.fft.rfft2(weakened(patches, fields, Marks((0.0,) * 3, (0.0,) * 3, (True,) * 3, kept))[0, 0]))
    before = np.abs(np.fft.rfft2(fields[0, 0]))
    for place, cycles in enumerate(lengths):
        spot = (cycles, 0) if place == 1 else (0, cycles)
        share = left[spot] / before[spot]
        assert share < 0.2 if place == band else share > 0.8  # whole cycles a patch lie a little beside a band's middle


def test_what_is_kept_whole_is_not_touched() -> None:
    fields = np.random.default_rng(1).standard_normal((2, 3, PATCH.cells, PATCH.cells)).astype(np.float16)
    patches = Patches(CELL_MM, *(np.zeros((2, 3), np.float32) for _ in range(4)))
    assert weakened(patches, fields, ALL_RELIEF) is fields
