"""Sight lines against brute force: rays from the lens's opening to the subject."""

import numpy as np
import pytest

from blender_addon.core.shots.framing import look, project
from blender_addon.core.shots.sight import ShotView, blurred_before, convex_outline, in_any_sight, in_sight, outside_distance


def view_of(points, aperture=12.0):
    rotation = look(20, 15)
    position = rotation[:, 2] * 400.0
    slopes, depth = project(points, position, rotation)
    return ShotView(
        "hero", "hero", position, rotation, (0.18, 0.12), 400.0, 390.0, 410.0, aperture,
        convex_outline(slopes), float(depth.min()), float(depth.max()),
    )  # fmt: skip


def ball(radius=20.0, count=4000):
    points = np.random.default_rng(2).normal(size=(count, 3))
    return radius * points / np.linalg.norm(points, axis=1, keepdims=True)


def test_what_a_ray_meets_is_in_sight():
    subject, rng = ball(), np.random.default_rng(4)
    view = view_of(subject)
    toward = subject[rng.integers(len(subject), size=3000)]
    angle, radius = rng.random(3000) * 2 * np.pi, 6.0 * np.sqrt(rng.random(3000))
    lens = view.position + radius[:, None] * (
        np.cos(angle)[:, None] * view.rotation[:, 0] + np.sin(angle)[:, None] * view.rotation[:, 1]
    )
    share = rng.uniform(0.05, 0.93, 3000)[:, None]
    assert in_sight(lens + share * (toward - lens), view).all()


def test_the_ground_beside_and_behind_is_free():
    view = view_of(ball())
    beside = view.rotation[:, 0] * 45.0  # beyond 20 mm of ball and the opening's half
    behind = -view.rotation[:, 2] * 60.0
    assert not in_sight(np.array([beside, behind]), view).any()
    assert in_sight(beside[None], view, radius_mm=30.0).all()  # but not for something large


def test_near_the_lens_the_whole_frame_counts():
    view = view_of(ball())
    corner = view.position + 150.0 * (view.axis + 0.15 * view.rotation[:, 0] + 0.1 * view.rotation[:, 1])
    outside = view.position + 150.0 * (view.axis + 0.5 * view.rotation[:, 0])
    assert in_sight(np.array([corner, outside]), view).tolist() == [True, False]
    assert in_sight(view.position[None] + 5.0, view).all()


def test_a_crumb_before_a_close_look_is_a_disc_and_one_in_focus_or_behind_it_is_not():
    """Thin lens: the disc's radius in the plane in focus is A / 2 * (D - d) / d; at 4 % of D before it 0.25 mm of 72 across."""
    view = view_of(ball(), aperture=12.0)
    sharp, nearer, near = (view.position + depth * view.axis for depth in (400.0, 399.0, 384.0))
    radius = 6.0 * (400.0 - 384.0) / 384.0
    assert radius / 72.0 < 0.007 and not blurred_before(near[None], view).any()
    wide = view_of(ball(), aperture=40.0)
    assert blurred_before(np.array([sharp, nearer, near, 2 * sharp - near]), wide).tolist() == [False, False, True, False]
    outside = near + 90.0 * view.rotation[:, 0]
    assert not blurred_before(outside[None], wide).any() and blurred_before(outside[None], wide, radius_mm=25.0).all()


def test_sights_of_several_shots_join():
    view = view_of(ball())
    points = np.random.default_rng(8).uniform(-200, 200, (500, 3))
    assert (in_any_sight(points, [view, view]) == in_sight(points, view)).all()
    assert not in_any_sight(points, []).any()


def test_the_outline_holds_its_points_and_little_more():
    points = np.random.default_rng(1).normal(size=(3000, 2)) @ [[2, 0.4], [0, 0.7]]
    outline = convex_outline(points)
    assert outside_distance(points, outline).max() < 1e-9
    spatial = pytest.importorskip("scipy.spatial")
    hull = spatial.ConvexHull(points)
    x, y = outline.T
    area = 0.5 * abs(np.dot(x, np.roll(y, -1)) - np.dot(y, np.roll(x, -1)))
    assert hull.volume <= area < 1.03 * hull.volume  # 64 support lines round a hull of corners


def test_distance_outside_a_square():
    square = np.array([[0, 0], [2, 0], [2, 2], [0, 2.0]])
    points = np.array([[1, 1], [3, 1], [3, 3], [-1, -1], [1, -0.5]])
    assert outside_distance(points, square) == pytest.approx([0, 1, 2**0.5, 2**0.5, 0.5])
