"""Paint goes on along its grain, a cut crosses it."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.surface.albedo.grain import along_grain, way_of
from blender_addon.core.surface.albedo.residual import residual_shading
from blender_addon.core.surface.patches import PATCH
from tests.core.surface.test_paint import LIGHT, _lit, _noisy, _surface

DEEP = 0.6  # log


@pytest.mark.parametrize("degrees", [0, 35, 90, 140])
def test_the_direction_of_a_grain_is_found(degrees: float) -> None:
    """To 3 degrees, away from the rim, under noise as strong as the grain."""
    turn, cell = np.radians(degrees), 0.14
    rows, columns = cell * np.mgrid[0 : PATCH.cells, 0 : PATCH.cells]
    grain = np.sin(2 * np.pi * (np.cos(turn) * rows - np.sin(turn) * columns) / 1.5)
    noisy = (grain + np.random.default_rng(1).normal(0, 0.7, grain.shape)).astype(np.float32)
    way = way_of(noisy[None], np.ones((1, PATCH.cells, PATCH.cells), bool), cell)[0, 16:-16, 16:-16]
    off = np.degrees(np.angle(np.exp(2j * (way - turn)))) / 2
    assert np.abs(off).max() < 3


def _crossed() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Log brightness (n,) of a grain of 1.4 mm that runs on at 30 degrees, and where two cuts cross it: the whole of them, and
    their middle."""
    position = _surface().position
    across = 0.5 * position[:, 0] - np.sqrt(0.75) * position[:, 1]
    away = np.min([np.abs(position[:, 0] - 15), np.abs(position[:, 1] - 20 + 0.6 * position[:, 0])], axis=0)
    return 0.35 * np.sin(2 * np.pi * across / 1.4), away < 0.4, away < 0.25


def test_a_cut_does_not_break_the_grain() -> None:
    grain, cut, middle = _crossed()
    along = along_grain(_surface(), (grain - DEEP * cut).astype(np.float32))
    inner = np.all(np.abs(_surface().position[:, :2] - _surface().position[:, :2].mean(axis=0)) < 9, axis=1)
    assert np.corrcoef(along[middle & inner], grain[middle & inner])[0, 1] > 0.9
    below = (grain - along)[middle & inner].mean()
    assert 0 < below < 0.4 * DEEP  # the cut's own share of the way that is averaged, two sigmas to both sides
    assert np.abs(along - grain)[~cut & inner].mean() < 0.1


def test_a_faintly_read_cut_through_a_grain_of_one_hue_is_found_by_the_grain() -> None:
    """Where the hue says nothing of how dark the paint is."""
    surface = _surface()
    grain, cut, middle = _crossed()
    colours = _noisy(LIGHT * np.exp(grain - DEEP * cut)[:, None])
    read = np.where(cut, -0.4, 0.0).astype(np.float32)
    shading = np.repeat(np.exp(read)[:, None], 3, axis=1)
    more = residual_shading(surface, colours, _lit(surface, colours), shading, read)
    left = DEEP - 0.4
    assert -left < more[middle].mean() < -0.3 * left
    share = np.polyfit(grain[middle], more[middle], 1)[0]
    assert abs(share) < 0.35  # of the grain itself, within the cut, is taken for shading
    assert np.abs(more[~cut]).mean() < 0.01


def test_values_stay_where_there_is_nothing_to_average() -> None:
    flat = np.full(len(_surface()), 0.3, np.float32)
    assert np.allclose(along_grain(_surface(), flat), flat, atol=1e-5)
