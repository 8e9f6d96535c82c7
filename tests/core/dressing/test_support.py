"""Things come to rest on three points round their middle."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.dressing.resting import rest_on


def test_the_plane_lies_on_three_points_and_above_all() -> None:
    rng = np.random.default_rng(1)
    xy, heights = rng.uniform(-20, 20, (3000, 2)), rng.normal(0, 0.2, 3000)
    support = rest_on(xy, heights, np.array([1.0, -2.0]))
    gap = support.at(xy) - heights
    assert support.stable and len(support.contacts) == 3
    assert gap.min() >= -1e-9 and np.abs(gap[support.contacts]).max() < 1e-9
    corners = np.vstack([xy[support.contacts].T, np.ones(3)])
    assert np.linalg.solve(corners, [1.0, -2.0, 1.0]).min() >= -1e-9  # the middle is inside the contacts' triangle


def test_it_is_the_lowest_such_plane() -> None:
    """Against scipy's linear programming, which solves the same minimum by another method."""
    optimize = pytest.importorskip("scipy.optimize")
    rng = np.random.default_rng(5)
    for trial in range(5):
        xy, heights, centre = rng.uniform(-9, 9, (200, 2)), rng.normal(0, 0.1, 200), rng.uniform(-3, 3, 2)
        answer = optimize.linprog(
            [*centre, 1.0], A_ub=-np.column_stack([xy, np.ones(200)]), b_ub=-heights, bounds=[(None, None)] * 3, method="highs"
        )
        mine = rest_on(xy, heights, centre)
        assert float(mine.at(centre[None])[0]) == pytest.approx(answer.fun, abs=1e-7), trial


def test_a_tilted_ground_tilts_the_plane() -> None:
    xy = np.random.default_rng(2).uniform(-10, 10, (500, 2))
    support = rest_on(xy, 0.02 * xy[:, 0] - 0.01 * xy[:, 1] + 3.0, np.zeros(2))
    assert support.slope == pytest.approx([0.02, -0.01], abs=1e-9) and support.level == pytest.approx(3.0, abs=1e-9)


def test_what_leans_over_its_foot_is_not_stable_and_still_touches() -> None:
    xy, heights = np.random.default_rng(3).uniform(0, 5, (100, 2)), np.zeros(100)
    support = rest_on(xy, heights, np.array([40.0, 0.0]))
    assert not support.stable and support.level == 0.0 and (support.slope == 0).all()


def test_nothing_to_stand_on() -> None:
    support = rest_on(np.zeros((0, 2)), np.zeros(0), np.zeros(2))
    assert not support.stable and support.level == 0.0
