"""Framing: the outline lands where it was asked to, seen by an independent projection."""

import numpy as np
import pytest

from blender_addon.core.shots.framing import (
    Placement,
    frame_points,
    half_slopes,
    look,
    look_along,
    outline_share,
    pose_at,
    swept,
)
from blender_addon.core.shots.optics import Optics, focus_for


def cloud(seed, count=4000):
    rng = np.random.default_rng(seed)
    points = rng.normal(size=(count, 3)) * rng.uniform(5, 40, 3) + rng.uniform(-20, 20, 3)
    points[:, 2] -= points[:, 2].min()
    return points


def seen(points, pose, focal, frame, pupil=1.0):
    """Left, right, bottom, top by plain similar triangles: image = m s times slope."""
    m = focal / (pose.focus_mm - focal / pupil)
    out = []
    for column, side in ((0, frame[0]), (1, frame[1])):
        along = (points - pose.position) @ pose.rotation[:, column]
        depth = (points - pose.position) @ -pose.rotation[:, 2]
        image = m * pose.focus_mm * along / depth / (0.5 * side)
        out += [image.min(), image.max()]
    return out


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("focal", [24.0, 90.0, 300.0])
def test_height_is_filled_with_the_headroom_asked(seed, focal):
    points = cloud(seed) * [0.3, 0.3, 1.0]
    placement = Placement(0.72, 3.0, 0.4)
    pose = frame_points(
        points, rotation=look(30, 12), focus=points.mean(axis=0), focal_mm=focal, frame_mm=(36, 24), placement=placement
    )
    _, _, low, high = seen(points, pose, focal, (36, 24))
    assert (high - low) / 2 == pytest.approx(0.72, abs=1e-6)
    assert (1 - high) / (1 - high + low + 1) == pytest.approx(0.4, abs=1e-6)


@pytest.mark.parametrize("seed", range(6))
def test_width_limits_a_wide_subject_and_both_middles_hold(seed):
    points = cloud(seed) * [2.0, 2.0, 0.4]
    placement = Placement(0.9, 0.8, 0.45, 0.1)
    pose = frame_points(
        points, rotation=look(-60, 20), focus=points.mean(axis=0), focal_mm=90, frame_mm=(24, 36), placement=placement,
        pupil_ratio=1.5,
    )  # fmt: skip
    left, right, low, high = seen(points, pose, 90, (24, 36), 1.5)
    assert (right - left) / 2 == pytest.approx(0.8, abs=1e-6)
    assert (right + left) / 2 == pytest.approx(0.1, abs=1e-5)
    wanted_middle = 0.5 * ((1 - 0.2 * 0.45) + (1 - 0.2 * 0.45 - 1.8))
    assert (high + low) / 2 == pytest.approx(wanted_middle, abs=1e-5)


def test_the_focus_plane_goes_through_the_focus_point():
    points = cloud(3)
    focus = points[17]
    pose = frame_points(points, rotation=look(10, 15), focus=focus, focal_mm=60, frame_mm=(36, 24), placement=Placement())
    assert (focus - pose.position) @ -pose.rotation[:, 2] == pytest.approx(pose.focus_mm, rel=1e-6)


def test_box_framing_would_miss_what_outline_framing_hits():
    """A cone seen from its box would fill less: the outline, not the box, must reach the edge of the placement."""
    t, u = np.random.default_rng(0).random((2, 20000))
    cone = np.stack([(1 - t) * 30 * np.cos(6.2832 * u), (1 - t) * 30 * np.sin(6.2832 * u), 80 * t], axis=1)
    box = np.array(np.meshgrid(*np.stack([cone.min(0), cone.max(0)], 1), indexing="ij")).reshape(3, -1).T
    options = dict(rotation=look(0, 25), focus=cone.mean(axis=0), focal_mm=60, frame_mm=(36, 24), placement=Placement(0.8, 0.9))
    by_outline, by_box = frame_points(cone, **options), frame_points(box, **options)
    half = half_slopes(Optics(60, 8, by_box.focus_mm), (36, 24))
    _, _, low, high = outline_share(cone, by_box, half)
    assert (high - low) / 2 < 0.78
    assert by_outline.focus_mm < by_box.focus_mm


def test_look_turns_as_the_docstring_says():
    assert look(0, 0)[:, 2] == pytest.approx([0, -1, 0])  # the camera is in front, at -Y
    assert look(90, 0)[:, 2] == pytest.approx([1, 0, 0], abs=1e-12)
    assert look(0, 90)[:, 2] == pytest.approx([0, 0, 1], abs=1e-12)
    for turn in (look(33, 21), look_along([0.3, 0.5, -0.2])):
        assert turn.T @ turn == pytest.approx(np.eye(3), abs=1e-12)
        assert np.linalg.det(turn) == pytest.approx(1.0)
        assert turn[2, 0] == pytest.approx(0.0, abs=1e-12)  # level
    direction = np.array([0.3, 0.5, -0.2])
    assert -look_along(direction)[:, 2] == pytest.approx(direction / np.linalg.norm(direction))


def test_a_detail_stands_at_its_magnification():
    pose = pose_at([1.0, 2.0, 3.0], rotation=look(40, 10), focal_mm=90, m=0.6)
    assert pose.focus_mm == pytest.approx(focus_for(90, 0.6))
    assert np.linalg.norm(pose.position - [1.0, 2.0, 3.0]) == pytest.approx(pose.focus_mm)


def test_the_swept_solid_holds_the_subject_at_every_angle():
    points = cloud(5)
    solid = swept(points)
    for angle in np.linspace(0, 2 * np.pi, 17):
        turned = points @ np.array([[np.cos(angle), np.sin(angle), 0], [-np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
        for direction in np.random.default_rng(1).normal(size=(20, 3)):
            assert (turned @ direction).max() <= (solid @ direction).max() + 1e-6


def test_nothing_to_frame_is_said():
    with pytest.raises(ValueError, match="no extent"):
        frame_points(
            np.zeros((5, 3)), rotation=look(0, 0), focus=np.zeros(3), focal_mm=50, frame_mm=(36, 24), placement=Placement()
        )
