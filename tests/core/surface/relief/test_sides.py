"""Is a side that shows less relief than the opposite one reported?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.surface.relief.sides import remarks, side_ratios


def _ball(left: float, right: float) -> tuple[np.ndarray, np.ndarray]:
    """Normals all round, and slopes of a strength on the left (-X) and another on the right."""
    rng = np.random.default_rng(4)
    normals = rng.normal(size=(40_000, 3))
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    strength = np.where(normals[:, :1] < 0.0, left, right)
    return normals, strength * rng.normal(size=(40_000, 2))


def test_an_even_piece_is_given_no_remark_and_a_bald_side_its_share() -> None:
    """Slopes half as strong are a quarter in the square; sampling 5,000 texels a side gives 3 %."""
    assert remarks(side_ratios(*_ball(0.2, 0.2))) == []
    ratios = side_ratios(*_ball(0.1, 0.2))
    assert ratios["left", "right"] == pytest.approx(0.25, rel=0.06) and ratios["front", "back"] == pytest.approx(1.0, abs=0.08)
    words = remarks(ratios)
    assert len(words) == 1 and "on the left is" in words[0]
    assert "on the right is" in remarks(side_ratios(*_ball(0.2, 0.1)))[0]


def test_a_flat_relief_that_faces_one_way_has_no_sides() -> None:
    normals = np.tile([0.0, -1.0, 0.0], (5000, 1))
    assert side_ratios(normals, np.ones((5000, 2))) == {}
