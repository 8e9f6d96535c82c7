"""A corner and an edge are caught, a plain face and a ball are not; shares worked out by hand."""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.scan.snapping import snapped

SPACING = 0.05


def box() -> np.ndarray:
    """Points on the three faces of a box that meet at the origin; the box lies where all three numbers are below zero."""
    side = -np.arange(0.0, 4.0, SPACING)
    a, b = (grid.ravel() for grid in np.meshgrid(side, side))
    flat = np.stack([a, b, np.zeros_like(a)], axis=1)
    return np.concatenate([flat, np.roll(flat, 1, axis=1), np.roll(flat, 2, axis=1)])


def test_a_corner_is_caught_from_nearby() -> None:
    place, caught = snapped(np.array([-0.3, -0.2, 0.0]), box(), 1.0)
    assert caught and place == pytest.approx([0.0, 0.0, 0.0], abs=2 * SPACING)


def test_an_edge_is_caught_at_its_nearest_point() -> None:
    place, caught = snapped(np.array([-2.0, -0.2, 0.0]), box(), 1.0)
    assert caught and place == pytest.approx([-2.0, 0.0, 0.0], abs=2 * SPACING)


def test_a_plain_face_and_a_ball_give_the_place_itself() -> None:
    middle = np.array([-2.0, -2.0, 0.0])
    assert snapped(middle, box(), 1.0)[1] is False
    way = np.random.default_rng(1).normal(size=(40_000, 3))
    ball = 10.0 * way / np.linalg.norm(way, axis=1, keepdims=True)
    top = np.array([0.0, 0.0, 10.0])
    place, caught = snapped(top, ball, 1.0)
    assert not caught and (place == top).all()


def test_a_pit_is_caught_as_a_peak_is() -> None:
    place, caught = snapped(np.array([-0.3, -0.2, 0.0]), box() * [1.0, 1.0, -1.0], 1.0)
    assert caught and place == pytest.approx([0.0, 0.0, 0.0], abs=2 * SPACING)


def test_a_coarse_mesh_gives_its_nearest_point_and_an_empty_reach_the_place() -> None:
    corners = np.array([[0.0, 0.0, 0.0], [10.0, 0.0, 0.0], [0.0, 10.0, 0.0]])
    place, caught = snapped(np.array([0.4, 0.3, 0.0]), corners, 1.0)
    assert caught and (place == 0.0).all()
    far = np.array([4.0, 4.0, 0.0])
    assert snapped(far, corners, 1.0) == (pytest.approx(far), False)
