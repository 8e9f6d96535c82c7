"""Does the table become as dark as the outline needs, and no darker?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.colour import lab
from blender_addon.core.dressing.exposure import GREY, TONES
from blender_addon.core.dressing.standing_out import APART, LEVELS, beside_outline, shown_lightness, table_level
from blender_addon.core.srgb import decode

TONE = TONES["AgX"]


def test_a_table_as_light_as_the_piece_is_darkened_until_the_outline_stands_off() -> None:
    piece = np.full(50, 0.3)
    level = table_level(piece, piece, TONE, stops=0.5)
    apart = np.abs(shown_lightness(piece, TONE, 0.5) - shown_lightness(level * piece, TONE, 0.5))
    assert level < 1.0 and (apart >= APART).all()
    lighter = [other for other in LEVELS if level < other <= 1.0]
    assert all(
        (np.abs(shown_lightness(piece * other, TONE, 0.5) - shown_lightness(piece, TONE, 0.5)) < APART).all()
        for other in lighter
    )


def test_a_table_that_the_piece_stands_off_stays_as_it_is() -> None:
    assert table_level(np.full(50, 0.5), np.full(50, 0.08), TONE, stops=0.0) == 1.0


def test_a_table_a_little_lighter_than_a_dark_piece_is_made_paler() -> None:
    """Darkening would bring the table to the piece's own tone first."""
    piece, table = np.full(60, 0.05), np.full(60, 0.079)
    assert abs(float(np.ptp(shown_lightness(np.array([0.05, 0.079]), TONE, 0.0)))) < APART
    assert table_level(piece, table, TONE, stops=0.0) > 1.0


def test_a_few_points_say_nothing() -> None:
    assert table_level(np.full(5, 0.3), np.full(5, 0.3), TONE, stops=0.0) == 1.0


@pytest.mark.parametrize("name", TONES)
def test_lightness_agrees_with_the_codes_that_a_tone_is_known_by(name: str) -> None:
    """L* of the sRGB codes 118, 221 and 238 by the formulas of the standards; `lab` is tested against colour-science."""
    tone = TONES[name]
    bright = GREY * 2.0 ** np.array([0.0, tone.top, tone.highest])
    codes = np.array([[code] * 3 for code in (118.0, 221.0, 238.0)]) / 255.0
    assert np.allclose(shown_lightness(bright, tone, 0.0), lab(decode(codes))[:, 0], atol=0.6)


def test_lightness_rises_with_light_and_with_exposure() -> None:
    light = shown_lightness(np.geomspace(1e-4, 30.0, 200), TONE, 0.0)
    assert (np.diff(light) >= 0.0).all() and (
        shown_lightness(np.array([0.1]), TONE, 1.0) > shown_lightness(np.array([0.1]), TONE, 0.0)
    ).all()


def test_only_the_outline_before_the_table_counts() -> None:
    """A square piece, before the table in its lower half: the table's light is read beside it, the room's is not."""
    piece, table, bright = np.zeros((40, 40), bool), np.zeros((40, 40), bool), np.full((40, 40), 9.0)
    piece[10:30, 10:30] = True
    table[:20] = True  # row 0 at the bottom; the table goes on behind the piece
    bright[piece] = 0.4
    bright[table & ~piece] = 0.1
    inside, outside = beside_outline(piece, table, bright)
    assert len(inside) == len(outside) == 20 + 2 * 10 - 2 + 2
    assert np.allclose(inside, 0.4) and np.allclose(outside, 0.1)
