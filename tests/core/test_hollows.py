"""Light that a scan's hollows have lost more of than they show, and what a paint does that only looks like it."""

from __future__ import annotations

import numpy as np

from blender_addon.core.relief import light
from blender_addon.core.relief.hollows import DOUBT, depth_of, missed_in_hollows
from blender_addon.core.relief.surface import Surface
from blender_addon.core.relief.visibility import look_round, spread_samples
from tests.core.test_paint import _surface

LOST = 0.24  # log, as in a narrow gap


def _hollow(surface: Surface) -> tuple[np.ndarray, np.ndarray]:
    """Openness (v,) of a gap 8 mm wide, and (n,) bool which texels lie in it."""
    gap = np.abs(surface.vertices[:, 0] - 15) < 4
    return np.where(gap, 0.3, 1.0), np.abs(surface.position[:, 0] - 15) < 4


def _paint(surface: Surface, spread: float) -> np.ndarray:
    rng = np.random.default_rng(4)
    fine = rng.normal(0, 0.1, len(surface))
    return (fine + spread * np.sin(surface.position[:, 1] * 0.5 + surface.position[:, 0] * 0.3)).astype(np.float32)


def test_light_that_a_hollow_lost_is_told_by_an_even_paint() -> None:
    surface = _surface()
    openness, gap = _hollow(surface)
    missed = missed_in_hollows(surface, openness, _paint(surface, 0.02) - np.float32(LOST) * gap)
    inner = np.abs(surface.position[:, 0] - 15) < 2  # the grid that paint is looked at on is 4 mm wide
    assert -1.1 * LOST < missed[inner].mean() < -0.6 * LOST
    assert np.abs(missed[np.abs(surface.position[:, 0] - 15) > 5]).max() < 1e-6


def test_a_paint_that_varies_at_large_is_left_alone() -> None:
    surface = _surface()
    openness, gap = _hollow(surface)
    missed = missed_in_hollows(surface, openness, _paint(surface, 0.7) - np.float32(LOST) * gap)
    assert missed[gap].std() < 0.25 * 0.7 / np.sqrt(2)  # a quarter of what the paint varies by itself


def test_a_stain_in_the_open_stays_and_no_more_is_taken_than_may_be_lost() -> None:
    surface = _surface()
    openness, gap = _hollow(surface)
    stain = np.abs(surface.position[:, 0] - 5) < 3
    missed = missed_in_hollows(surface, openness, _paint(surface, 0.02) - stain - 2 * gap.astype(np.float32))
    assert not missed[stain].any()
    assert np.abs(missed).max() <= 2 * DOUBT * np.abs(depth_of(openness)).max()


def test_a_piece_that_is_deep_all_over_breaks_nothing() -> None:
    surface = _surface()
    found = missed_in_hollows(surface, np.zeros(len(surface.vertices)), _paint(surface, 0.1))
    assert np.isfinite(found).all()


def test_behind_a_wall_its_near_side_is_seen() -> None:
    """A closed slab from x = 5 to 7 before a point: what the point sees of it, and is lit by, is the side at 5."""
    across = np.linspace(-30, 30, 31)
    u, v = (one.ravel() for one in np.meshgrid(across, across, indexing="ij"))
    place = np.arange(31 * 31).reshape(31, 31)
    a, b, c, d = (one.ravel() for one in (place[:-1, :-1], place[1:, :-1], place[1:, 1:], place[:-1, 1:]))
    far = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])  # looks to +x
    vertices = np.concatenate([np.stack([np.full_like(u, x), u, v], 1) for x in (7.0, 5.0)])
    samples = spread_samples(vertices, np.concatenate([far, far[:, ::-1] + len(u)]), count=60_000, seed=1)
    seen = look_round(samples, np.zeros((1, 3)), np.array([[1.0, 0, 0]]), light.half_sphere(64))
    straight = seen.directions[:, 0] > 0.5
    blocker = seen.source[0, straight]
    assert seen.open[0, straight].mean() < 0.05  # a fiftieth of the pixels stay empty
    assert np.allclose(samples.position[blocker[blocker >= 0], 0], 5.0)
