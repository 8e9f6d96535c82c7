"""Shots solved from the subject alone: framed, focused, sharp where it matters, never from where no camera can stand."""

import numpy as np
import pytest

from blender_addon.core.shots import optics
from blender_addon.core.shots.close_looks.crops import CUT, uncut
from blender_addon.core.shots.close_looks.detail_spots import detail_magnification, detail_spots
from blender_addon.core.shots.framing import half_slopes, outline_share, project
from blender_addon.core.shots.shot_plan import LOWEST_MM, ShotAsk, product_tilt, solve, stops
from blender_addon.core.shots.subject import Subject, richness_of
from blender_addon.core.shots.visible import visible


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


def faced(size=1.0):
    """A smooth body with a head on it that has two eyes and a beak in front (-Y)."""
    parts = [ellipsoid([16, 14, 30], [0, 0, 30], 14000, 1), ellipsoid([13, 13, 13], [0, 0, 70], 9000, 2)]
    parts += [ellipsoid([3, 3, 3], [x, -12, 72], 1200, 3) for x in (-5.0, 5.0)] + [ellipsoid([2, 4, 3], [0, -13, 66], 1000, 4)]
    points, normals = (np.concatenate(both) for both in zip(*parts, strict=True))
    return Subject(points * size, points * size, normals, richness_of(points, normals))


def dish():
    points, normals = ellipsoid([80, 80, 20], [0, 0, 20])
    return Subject(points, points, normals, richness_of(points, normals))


def box(width, depth, height, count=20000):
    """Points on the sides of a box with its middle on the z axis, standing on z = 0."""
    half = np.array([width, depth, height]) / 2
    rng = np.random.default_rng(5)
    area = np.array([half[1] * half[2], half[0] * half[2], half[0] * half[1]])
    axis = rng.choice(3, count, p=area / area.sum())
    sign = rng.choice([-1.0, 1.0], count)
    points = rng.uniform(-1, 1, (count, 3))
    points[np.arange(count), axis] = sign
    normals = np.zeros((count, 3))
    normals[np.arange(count), axis] = sign
    points = points * half + [0, 0, half[2]]
    return Subject(points, points, normals, richness_of(points, normals))


SUBJECTS = {"figure": figure(), "large": figure(4.0), "small": figure(0.25), "dish": dish()}
ODD = {"coin": box(60, 60, 1), "needle": box(1, 1, 90), "bar": box(200, 5, 20), "crumb": figure(0.02), "bust": figure(5.0)}


@pytest.mark.parametrize("name", SUBJECTS)
@pytest.mark.parametrize(("azimuth", "tilt"), [(22, 12), (-80, 12), (160, 20), (0, 78)])
@pytest.mark.parametrize("size", [(960, 640), (640, 960), (800, 600)])
def test_nothing_is_clipped_and_the_camera_is_above_the_table(name, azimuth, tilt, size):
    subject = SUBJECTS[name]
    shot = solve(ShotAsk("hero", "hero", azimuth, tilt, resolution=size), subject)
    left, right, low, high = outline_share(subject.outline, shot.pose, half_slopes(shot.optics, shot.ask.frame_mm))
    assert -1 < left < right < 1 and -1 < low < high < 1
    assert max((high - low) / 2 / 0.7, (right - left) / 2 / 0.8) == pytest.approx(1.0, abs=1e-5)
    assert shot.pose.position[2] > 0
    assert 0.7 <= shot.optics.fnumber <= 16 and shot.optics.fnumber in optics.THIRD_STOPS


def test_the_hero_of_a_figure_focuses_on_its_face():
    subject = SUBJECTS["figure"]
    shot = solve(ShotAsk("hero", azimuth_deg=15), subject)
    assert 62 < shot.focus[2] < 78  # the head, not the belly that bulges nearer
    assert shot.focus[1] < -3  # its front
    assert np.linalg.norm(subject.points - shot.focus, axis=1).min() < 1e-9  # a point of the surface
    near, far = optics.limits(shot.optics, shot.ask.coc)
    depth = (subject.points - shot.pose.position) @ -shot.pose.rotation[:, 2]
    seen = visible(subject.points, subject.normals, position=shot.pose.position, rotation=shot.pose.rotation)
    face = seen & subject.band(0.7, 0.95)
    inside = (depth[face] > near) & (depth[face] < far)
    assert inside.mean() > 0.7


@pytest.mark.parametrize("name", [*SUBJECTS, *ODD])
@pytest.mark.parametrize(("azimuth", "tilt"), [(22, 12), (-80, 25), (0, 78)])
def test_the_focus_lies_into_the_depth_but_never_far_from_the_point(name, azimuth, tilt):
    """Goal: within a quarter of the sharp depth of the face or of the nearest rich relief."""
    subject = {**SUBJECTS, **ODD}[name]
    shot = solve(ShotAsk("hero", "hero", azimuth, tilt), subject)
    asked = float((shot.focus - shot.pose.position) @ -shot.pose.rotation[:, 2])
    assert abs(shot.optics.focus_mm - asked) <= 0.25 * optics.depth_of_field(shot.optics, shot.ask.coc)
    plain = solve(ShotAsk("hero", "hero", azimuth, tilt, focus=tuple(shot.focus)), subject)
    assert shot.optics.fnumber <= plain.optics.fnumber or sharp_share(shot, subject) > sharp_share(plain, subject)


def sharp_share(shot, subject):
    near, far = optics.limits(shot.optics, shot.ask.coc)
    seen = visible(subject.points, subject.normals, position=shot.pose.position, rotation=shot.pose.rotation)
    depth = (subject.points[seen] - shot.pose.position) @ -shot.pose.rotation[:, 2]
    return ((depth >= near) & (depth <= far)).mean()


def test_a_dish_focuses_on_its_near_side():
    subject = SUBJECTS["dish"]
    shot = solve(ShotAsk("hero"), subject)
    depth = (subject.points - shot.pose.position) @ -shot.pose.rotation[:, 2]
    place = float((shot.focus - shot.pose.position) @ -shot.pose.rotation[:, 2])
    assert place < np.median(depth)


def test_own_focus_and_own_ends_are_obeyed():
    subject = SUBJECTS["figure"]
    front, back = (0.0, -11.0, 68.0), (0.0, 2.0, 79.0)
    shot = solve(ShotAsk("hero", focus=front, hold=(front, back)), subject)
    assert shot.focus == pytest.approx(front)
    near, far = optics.limits(shot.optics, shot.ask.coc * 1.016)
    for point in (front, back):
        depth = (np.array(point) - shot.pose.position) @ -shot.pose.rotation[:, 2]
        assert near <= depth <= far
    tiny = solve(ShotAsk("hero", "detail", magnification=4.0, focus=front, hold=(front, back)), subject)
    assert tiny.words and "focus bracket" in tiny.words[0]


def test_details_lie_where_the_relief_is_rich():
    subject = SUBJECTS["figure"]
    spots = detail_spots(subject, 3, reach_mm=20.0)
    assert len(spots) == 3
    first = spots[0]
    assert np.linalg.norm(first.spot - [0, -13, 30]) < 12
    assert abs(first.azimuth_deg) < 40  # seen from the front, where the patch faces, or a little from beside
    for axis in range(3):
        for other in range(axis):
            assert np.linalg.norm(spots[axis].middle - spots[other].middle) >= 20.0


@pytest.mark.parametrize("name", SUBJECTS)
def test_details_are_taken_from_where_a_camera_can_stand(name):
    subject = SUBJECTS[name]
    m = detail_magnification(subject, (36.0, 24.0))
    assert 0.4 <= m and (m <= 0.8 or subject.height < 40)
    for spot in detail_spots(subject, 3, reach_mm=14.0 / m):
        shot = solve(ShotAsk("detail", "detail", spot.azimuth_deg, spot.tilt_deg, shift=spot.shift), subject, spot=spot.spot)
        assert shot.pose.position[2] > LOWEST_MM - 1e-6
        away = np.linalg.norm(subject.outline - shot.pose.position, axis=1).min()
        assert away > 0.5 * shot.optics.focus_mm  # free working distance
        assert shot.optics.magnification == pytest.approx(m)


@pytest.mark.parametrize("name", ["figure", "large", "small"])
def test_the_crown_of_a_head_is_in_a_close_look_with_air_or_clearly_outside(name):
    """A head with eyes and no rough patch elsewhere: it is looked at, and its outline is nowhere cut just barely."""
    size = {"figure": 1.0, "large": 4.0, "small": 0.25}[name]
    subject = faced(size)
    m = detail_magnification(subject, (36.0, 24.0))
    frame = (36.0 / m, 24.0 / m)
    spot = detail_spots(subject, 1, reach_mm=0.6 * frame[1], distance_mm=optics.focus_for(90.0, m), frame=frame)[0]
    ask = ShotAsk("detail", "detail", spot.azimuth_deg, spot.tilt_deg, shift=spot.shift, magnification=spot.grown * m)
    shot = solve(ask, subject, spot=spot.spot)
    assert spot.spot[2] > 55 * size and spot.spot[1] < 0  # the face
    slopes, _ = project(subject.outline, shot.pose.position, shot.pose.rotation)
    shares = slopes / half_slopes(shot.optics, ask.frame_mm)
    assert uncut(shares) > 0.8  # under two fifths of the way to the worst; random points leave the outline uneven
    focus = slopes[np.linalg.norm(subject.outline - spot.spot, axis=1).argmin()] / half_slopes(shot.optics, ask.frame_mm)
    assert (np.abs(focus) < 0.75).all()  # sharp where the eye looks, not at the frame's edge


def test_an_outline_cut_at_the_frames_edge_is_distinguished_from_one_with_air_and_one_well_outside():
    angle = np.linspace(0.0, 2.0 * np.pi, 400)

    def head(top):  # a round head 0.8 wide whose crown lies at `top`, on a body that goes on below the frame
        body = np.stack([np.repeat([-0.6, 0.6], 50), np.tile(np.linspace(-3.0, top - 0.9, 50), 2)], axis=1)
        return np.concatenate([0.4 * np.stack([np.cos(angle), np.sin(angle)], axis=1) + [0.0, top - 0.4], body])

    assert uncut(head(0.7)) == uncut(head(2.2)) == 1.0
    assert uncut(head(1.0)) == pytest.approx(CUT, abs=0.02)
    assert CUT < uncut(head(1.2)) < uncut(head(1.5)) < 1.0 and uncut(head(0.93)) < 1.0
    ears = np.concatenate([head(2.4), np.array([[0.5, y] for y in np.linspace(0, 1.02, 60)])])  # beside it one just cut
    assert uncut(ears) == pytest.approx(1.0)  # hidden by the head beside it, as far as an outline tells
    assert uncut(np.concatenate([head(0.7), [[0.8, 1.02]]])) < 0.6


def test_a_low_spot_is_seen_from_above_the_table():
    subject = SUBJECTS["figure"]
    shot = solve(ShotAsk("detail", "detail", 0.0, -15.0), subject, spot=np.array([0.0, -8.0, 6.0]))
    assert shot.pose.position[2] >= LOWEST_MM - 1e-6
    assert np.linalg.norm(shot.pose.position - [0.0, -8.0, 6.0]) == pytest.approx(shot.optics.focus_mm)


def test_the_turntable_keeps_every_side_in_the_frame():
    subject = SUBJECTS["figure"]
    shot = solve(ShotAsk("turntable", "turntable"), subject)
    half = half_slopes(shot.optics, shot.ask.frame_mm)
    for angle in np.linspace(0, 2 * np.pi, 13):
        turn = np.array([[np.cos(angle), -np.sin(angle), 0], [np.sin(angle), np.cos(angle), 0], [0, 0, 1]])
        left, right, low, high = outline_share(subject.outline @ turn.T, shot.pose, half)
        assert -1 < left and right < 1 and -1 < low and high < 1


@pytest.mark.parametrize("name", ["figure", "large", "dish"])
def test_other_formats_keep_picture_and_depth(name):
    """The equivalent lens on a smaller sensor gives the same view; the solver chooses the stop, so depth stays alike."""
    subject = SUBJECTS[name]
    big, small = solve(ShotAsk("hero"), subject), solve(ShotAsk("hero", format_mm=(13.2, 8.8)), subject)
    assert small.optics.focus_mm == pytest.approx(big.optics.focus_mm, rel=0.15)
    depths = [optics.depth_of_field(shot.optics, shot.ask.coc) for shot in (big, small)]
    # The stop is rounded to a third, which is 26 % of depth, and the lens's own (1 + m) differs a little.
    assert depths[1] == pytest.approx(depths[0], rel=0.35)


@pytest.mark.parametrize("format_mm", [(36.0, 24.0), (17.3, 13.0), (5.64, 4.23)])
@pytest.mark.parametrize("m", [0.02, 0.5, 1.0, 5.0])
def test_the_stops_chosen_from_are_real_and_do_not_drown_in_diffraction(format_mm, m):
    ask = ShotAsk("hero", format_mm=format_mm)
    widest, enough, narrowest = stops(ask, m)
    assert 1.4 <= widest <= enough <= narrowest and {widest, enough, narrowest} <= set(optics.THIRD_STOPS)
    if narrowest > 1.4:
        assert optics.airy_disc(narrowest * (1 + m)) <= 1.55 * ask.coc  # 32 at full frame, a stop's mark 1.5 % off


@pytest.mark.parametrize("name", ODD)
def test_odd_shapes_are_framed_whole_and_never_beyond_five_to_one(name):
    subject = ODD[name]
    for kind, azimuth, tilt in (("hero", 22, 12), ("left", -80, 25), ("top", 0, 78), ("turntable", 0, 12)):
        shot = solve(ShotAsk(kind, kind, azimuth, tilt), subject)
        left, right, low, high = outline_share(subject.outline, shot.pose, half_slopes(shot.optics, shot.ask.frame_mm))
        assert -1 < left < right < 1 and -1 < low < high < 1
        assert shot.optics.magnification <= optics.LARGEST * (1 + 1e-9)
        if shot.optics.magnification > optics.LARGEST * (1 - 1e-9):
            assert "5:1 is the most" in shot.words[0]
        elif kind != "turntable":
            assert max((high - low) / 2 / 0.7, (right - left) / 2 / 0.8) == pytest.approx(1.0, abs=1e-5)


@pytest.mark.parametrize("name", ODD)
def test_details_of_odd_shapes_differ_and_can_be_reached(name):
    subject = ODD[name]
    m = detail_magnification(subject, (36.0, 24.0))
    assert m <= optics.LARGEST
    distance = optics.focus_for(90.0, m)
    spots = detail_spots(subject, 3, reach_mm=14.0 / m, distance_mm=distance)
    assert len(spots) == 3
    for place, look in enumerate(spots):
        assert all(np.linalg.norm(look.middle - other.middle) > 1.0 / m for other in spots[:place])
        ask = ShotAsk("detail", "detail", look.azimuth_deg, look.tilt_deg, shift=look.shift, magnification=look.grown * m)
        spot, shot = look.spot, solve(ask, subject, spot=look.spot)
        assert np.linalg.norm(subject.points - shot.pose.position, axis=1).min() > 30.0
        depth = (subject.points - shot.pose.position) @ -shot.pose.rotation[:, 2]
        near, far = optics.limits(shot.optics, shot.ask.coc)
        middle = np.linalg.norm(subject.points - spot, axis=1) < 2.0 / m
        assert ((depth[middle] > near) & (depth[middle] < far)).any()


@pytest.mark.parametrize("name", ["figure", "bar"])
def test_the_turntable_is_sharp_where_it_is_looked_at_from_the_front(name):
    subject = {**SUBJECTS, **ODD}[name]
    shot = solve(ShotAsk("turntable", "turntable"), subject)
    near, far = optics.limits(shot.optics, shot.ask.coc)
    seen = visible(subject.points, subject.normals, position=shot.pose.position, rotation=shot.pose.rotation)
    depth = (subject.points[seen] - shot.pose.position) @ -shot.pose.rotation[:, 2]
    assert ((depth > near) & (depth < far)).mean() > 0.5


def test_what_can_not_be_sharp_is_said_with_the_bracket_that_would_hold_it():
    shot = solve(ShotAsk("hero"), ODD["coin"])
    assert any("bracket" in words and "slices" in words for words in shot.words)
    assert not solve(ShotAsk("hero", fnumber=8.0), ODD["coin"]).words  # who chose it knows
    assert not solve(ShotAsk("hero"), SUBJECTS["large"]).words


def test_what_lies_flat_is_looked_at_from_higher():
    assert product_tilt(SUBJECTS["figure"]) == 12.0
    assert 12.0 < product_tilt(box(60, 60, 25)) < 25.0 < product_tilt(ODD["coin"]) == 38.0


def test_visible_takes_in_a_flat_top_seen_at_a_low_angle_but_not_what_stands_behind():
    points, normals = ODD["coin"].points, ODD["coin"].normals
    shot = solve(ShotAsk("hero"), ODD["coin"])
    where = {"position": shot.pose.position, "rotation": shot.pose.rotation}
    seen = visible(points, normals, **where)
    assert seen[normals[:, 2] > 0.9].mean() > 0.95
    assert not seen[normals[:, 2] < -0.9].any()
    wall = ODD["bar"].points + [0.0, 40.0, 0.0]  # another bar behind the first, hidden by it to its upper edge
    both, facing = np.concatenate([ODD["bar"].points, wall]), np.concatenate([ODD["bar"].normals] * 2)
    position = np.array([0.0, -600.0, 10.0])
    seen = visible(both, facing, position=position, rotation=np.array([[1, 0, 0], [0, 0, -1], [0, 1, 0]], float))
    assert seen[len(wall) :].mean() < 0.02 < seen[: len(wall)].mean()


def test_visible_leaves_out_what_is_hidden_or_turned_away():
    points, normals = ellipsoid([20, 20, 20], [0, 0, 20], count=20000)
    position = np.array([0.0, -400.0, 20.0])
    rotation = np.array([[1, 0, 0], [0, 0, -1], [0, 1, 0]], float)
    seen = visible(points, None, position=position, rotation=rotation)
    toward = (position - points) / np.linalg.norm(position - points, axis=1, keepdims=True)
    cosine = np.einsum("ij,ij->i", normals, toward)
    assert seen[cosine > 0.5].mean() > 0.97  # grazing places may go either way
    assert seen[cosine < -0.4].mean() < 0.005  # a cell that holds back points alone
