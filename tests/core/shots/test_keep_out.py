"""What is hatched as kept free is what `in_sight` says of things that stand there."""

from __future__ import annotations

import numpy as np

from blender_addon.core.shots.keep_out import CELLS, keep_out_lines
from blender_addon.core.shots.sight import in_sight
from tests.core.shots.test_sight import ball, view_of

HALF, TALL = 120.0, 12.0


def test_the_border_parts_what_is_free_from_what_is_not() -> None:
    view = view_of(ball())
    border, inside = keep_out_lines([view], middle=np.zeros(2), half=HALF, level=-20.0, tall=TALL)
    assert len(border) and len(inside)
    cell = 2.0 * HALF / CELLS
    up = np.array([0.0, 0.0, 0.5 * TALL])
    taken = in_sight(inside.mean(axis=1) + up, view, radius_mm=0.5 * TALL)
    assert taken.mean() > 0.97  # hatching ends within a softened cell of the border
    around = np.array([[x, y, 0.0] for x in (-2 * cell, 0.0, 2 * cell) for y in (-2 * cell, 0.0, 2 * cell)])
    within = np.abs(border.mean(axis=1)[:, :2]).max(axis=1) < HALF - 3 * cell
    for place in border.mean(axis=1)[within][::9]:  # near each place of the border both are found
        near = in_sight(place + around + up, view, radius_mm=0.5 * TALL)
        assert near.any() and not near.all()


def test_all_shots_together_and_none() -> None:
    view = view_of(ball())
    none = keep_out_lines([], middle=np.zeros(2), half=HALF, level=-20.0, tall=TALL)
    assert not len(none[0]) and not len(none[1])
    twice = keep_out_lines([view, view], middle=np.zeros(2), half=HALF, level=-20.0, tall=TALL)
    alone = keep_out_lines([view], middle=np.zeros(2), half=HALF, level=-20.0, tall=TALL)
    assert np.array_equal(twice[0], alone[0])
