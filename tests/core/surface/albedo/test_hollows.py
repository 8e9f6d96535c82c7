"""Light that a scan's hollows have lost more of than they show, and what a paint does that only looks like it."""

from __future__ import annotations

import numpy as np

from blender_addon.core.surface.albedo.hollows import HOLLOWS, depth_of, residual_in_hollows
from blender_addon.core.surface.textured_surface import TexturedSurface
from tests.core.surface.test_paint import _surface

LOST = 0.24  # log, as in a narrow gap


def _hollow(surface: TexturedSurface) -> tuple[np.ndarray, np.ndarray]:
    """Openness (v,) of a gap 8 mm wide, and (n,) bool which texels lie in it."""
    gap = np.abs(surface.vertices[:, 0] - 15) < 4
    return np.where(gap, 0.3, 1.0), np.abs(surface.position[:, 0] - 15) < 4


def _paint(surface: TexturedSurface, spread: float) -> np.ndarray:
    rng = np.random.default_rng(4)
    fine = rng.normal(0, 0.1, len(surface))
    return (fine + spread * np.sin(surface.position[:, 1] * 0.5 + surface.position[:, 0] * 0.3)).astype(np.float32)


def test_light_that_a_hollow_lost_is_found_by_an_even_paint() -> None:
    surface = _surface()
    openness, gap = _hollow(surface)
    missed = residual_in_hollows(surface, openness, _paint(surface, 0.02) - np.float32(LOST) * gap)
    inner = np.abs(surface.position[:, 0] - 15) < 2  # the grid that paint is looked at on is 4 mm wide
    assert -1.1 * LOST < missed[inner].mean() < -0.6 * LOST
    assert np.abs(missed[np.abs(surface.position[:, 0] - 15) > 5]).max() < 1e-6


def test_a_gap_narrower_than_the_mesh_speaks_for_itself() -> None:
    surface = _surface()
    openness = np.where(np.abs(surface.vertices[:, 0] - 15) < 1.2, 0.3, 1.0)
    gap = np.abs(surface.position[:, 0] - 15) < 0.8
    missed = residual_in_hollows(surface, openness, _paint(surface, 0.02) - np.float32(LOST) * gap)
    assert -1.1 * LOST < missed[np.abs(surface.position[:, 0] - 15) < 0.5].mean() < -0.5 * LOST


def test_a_paint_that_varies_at_large_is_left_alone() -> None:
    surface = _surface()
    openness, gap = _hollow(surface)
    missed = residual_in_hollows(surface, openness, _paint(surface, 0.7) - np.float32(LOST) * gap)
    assert missed[gap].std() < 0.25 * 0.7 / np.sqrt(2)  # a quarter of what the paint varies by itself


def test_a_stain_in_the_open_stays_and_no_more_is_taken_than_may_be_lost() -> None:
    surface = _surface()
    openness, gap = _hollow(surface)
    stain = np.abs(surface.position[:, 0] - 5) < 3
    missed = residual_in_hollows(surface, openness, _paint(surface, 0.02) - stain - 2 * gap.astype(np.float32))
    assert not missed[stain].any()
    assert np.abs(missed).max() <= 2 * HOLLOWS.doubt * np.abs(depth_of(openness)).max()


def test_a_piece_that_is_deep_all_over_breaks_nothing() -> None:
    surface = _surface()
    found = residual_in_hollows(surface, np.zeros(len(surface.vertices)), _paint(surface, 0.1))
    assert np.isfinite(found).all()
