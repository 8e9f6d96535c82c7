"""Shots solved from the subject alone: framed, focused, sharp where it matters, never from where no camera can stand."""

import numpy as np
import pytest

from blender_addon.core import optics
from blender_addon.core.framing import half_slopes, outline_share
from blender_addon.core.shot_plan import LOWEST_MM, ShotAsk, detail_magnification, detail_spots, solve
from blender_addon.core.subject import Subject, richness_of
from blender_addon.core.visible import visible


def ellipsoid(radii, centre, count=12000, seed=0):
    points = np.random.default_rng(seed).normal(size=(count, 3))
    points /= np.linalg.norm(points, axis=1, keepdims=True)
    normals = points / radii
    return points * radii + centre, normals / np.linalg.norm(normals, axis=1, keepdims=True)


def figure(size=1.0):
    """A body with a head on it whose front (-Y) carries a rough patch: rich relief with a known place."""
    body, body_n = ellipsoid([16, 14, 30], [0, 0, 30], seed=1)
    head, head_n = ellipsoid([11, 11, 11], [0, 0, 68], seed=2)
    points, normals = np.concatenate([body, head]), np.concatenate([body_n, head_n])
    patch = np.linalg.norm(points - [0, -13, 30], axis=1) < 9
    wobble = np.random.default_rng(3).normal(size=normals.shape) * 0.6 * patch[:, None]
    normals = normals + wobble
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    points = points * size
    return Subject(points, points, normals, richness_of(points, normals))


def dish():
    points, normals = ellipsoid([80, 80, 20], [0, 0, 20])
    return Subject(points, points, normals, richness_of(points, normals))


SUBJECTS = {"figure": figure(), "large": figure(4.0), "small": figure(0.25), "dish": dish()}


@pytest.mark.parametrize("name", SUBJECTS)
@pytest.mark.parametrize(("azimuth", "tilt"), [(22, 12), (-80, 12), (160, 20), (0, 78)])
@pytest.mark.parametrize("size", [(960, 640), (640, 960), (800, 600)])
def test_nothing_is_clipped_and_the_camera_is_above_the_table(name, azimuth, tilt, size):
    subject = SUBJECTS[name]
    shot = solve(ShotAsk("hero", "hero", azimuth, tilt, resolution=size), subject)
    left, right, low, high = outline_share(subject.outline, shot.stand, half_slopes(shot.optics, shot.ask.frame_mm))
    assert -1 < left < right < 1 and -1 < low < high < 1
    assert max((high - low) / 2 / 0.7, (right - left) / 2 / 0.8) == pytest.approx(1.0, abs=1e-5)
    assert shot.stand.position[2] > 0
    assert 0.7 <= shot.optics.fnumber <= 16 and shot.optics.fnumber in optics.THIRD_STOPS


def test_the_hero_of_a_figure_focuses_on_its_face():
    subject = SUBJECTS["figure"]
    shot = solve(ShotAsk("hero", azimuth_deg=15), subject)
    assert 62 < shot.focus[2] < 78  # the head, not the belly that bulges nearer
    assert shot.focus[1] < -3  # its front
    assert np.linalg.norm(subject.points - shot.focus, axis=1).min() < 1e-9  # a point of the surface
    near, far = optics.limits(shot.optics, shot.ask.coc)
    depth = (subject.points - shot.stand.position) @ -shot.stand.rotation[:, 2]
    seen = visible(subject.points, subject.normals, position=shot.stand.position, rotation=shot.stand.rotation)
    face = seen & subject.band(0.7, 0.95)
    inside = (depth[face] > near) & (depth[face] < far)
    assert inside.mean() > 0.7


def test_a_dish_focuses_on_its_near_side():
    subject = SUBJECTS["dish"]
    shot = solve(ShotAsk("hero"), subject)
    depth = (subject.points - shot.stand.position) @ -shot.stand.rotation[:, 2]
    place = float((shot.focus - shot.stand.position) @ -shot.stand.rotation[:, 2])
    assert place < np.median(depth)


def test_own_focus_and_own_ends_are_obeyed():
    subject = SUBJECTS["figure"]
    front, back = (0.0, -11.0, 68.0), (0.0, 2.0, 79.0)
    shot = solve(ShotAsk("hero", focus=front, hold=(front, back)), subject)
    assert shot.focus == pytest.approx(front)
    near, far = optics.limits(shot.optics, shot.ask.coc * 1.016)
    for point in (front, back):
        depth = (np.array(point) - shot.stand.position) @ -shot.stand.rotation[:, 2]
        assert near <= depth <= far
    tiny = solve(ShotAsk("hero", "detail", magnification=4.0, focus=front, hold=(front, back)), subject)
    assert tiny.words and "focus bracket" in tiny.words[0]


def test_details_lie_where_the_relief_is_rich():
    subject = SUBJECTS["figure"]
    spots = detail_spots(subject, 3, reach_mm=20.0)
    assert len(spots) == 3
    first = spots[0]
    assert np.linalg.norm(first[0] - [0, -13, 30]) < 12
    assert abs(first[1]) < 30  # seen from the front, where the patch faces
    for one in range(3):
        for other in range(one):
            assert np.linalg.norm(spots[one][0] - spots[other][0]) >= 20.0


@pytest.mark.parametrize("name", SUBJECTS)
def test_details_are_taken_from_where_a_camera_can_stand(name):
    subject = SUBJECTS[name]
    m = detail_magnification(subject, (36.0, 24.0))
    assert 0.4 <= m and (m <= 0.8 or subject.height < 40)
    for spot, azimuth, tilt in detail_spots(subject, 3, reach_mm=14.0 / m):
        shot = solve(ShotAsk("detail", "detail", azimuth, tilt), subject, spot=spot)
        assert shot.stand.position[2] > LOWEST_MM - 1e-6
        away = np.linalg.norm(subject.outline - shot.stand.position, axis=1).min()
        assert away > 0.5 * shot.optics.focus_mm  # free working distance
        assert shot.optics.magnification == pytest.approx(m)


def test_a_low_spot_is_seen_from_above_the_table():
    subject = SUBJECTS["figure"]
    shot = solve(ShotAsk("detail", "detail", 0.0, -15.0), subject, spot=np.array([0.0, -8.0, 6.0]))
    assert shot.stand.position[2] >= LOWEST_MM - 1e-6
    assert np.linalg.norm(shot.stand.position - [0.0, -8.0, 6.0]) == pytest.approx(shot.optics.focus_mm)


def test_the_turntable_keeps_every_side_in_the_frame():
    subject = SUBJECTS["figure"]
    shot = solve(ShotAsk("turntable", "turntable"), subject)
    half = half_slopes(shot.optics, shot.ask.frame_mm)
    for angle in np.linspace(0, 2 * np.pi, 13):
        turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
        left, right, low, high = outline_share(subject.outline @ turn.T, shot.stand, half)
        assert -1 < left and right < 1 and -1 < low and high < 1


def test_other_formats_keep_picture_and_depth():
    """The equivalent lens on a smaller sensor gives the same view; the solver chooses the stop, so depth stays alike."""
    subject = SUBJECTS["figure"]
    big, small = solve(ShotAsk("hero"), subject), solve(ShotAsk("hero", format_mm=(13.2, 8.8)), subject)
    assert small.optics.focus_mm == pytest.approx(big.optics.focus_mm, rel=0.15)


def test_visible_leaves_out_what_is_hidden_or_turned_away():
    points, normals = ellipsoid([20, 20, 20], [0, 0, 20], count=20000)
    position = np.array([0.0, -400.0, 20.0])
    rotation = np.array([[1, 0, 0], [0, 0, -1], [0, 1, 0]], float)
    seen = visible(points, None, position=position, rotation=rotation)
    toward = (position - points) / np.linalg.norm(position - points, axis=1, keepdims=True)
    cosine = np.einsum("ij,ij->i", normals, toward)
    assert seen[cosine > 0.5].mean() > 0.97  # grazing places may go either way
    assert seen[cosine < -0.4].mean() < 0.005  # a cell that holds back points alone
