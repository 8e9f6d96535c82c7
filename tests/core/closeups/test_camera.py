"""Is a photo's camera found by spots, and is it said when it can't be?

Three points: Grunert 1841 by Haralick et al. 1994; many: Abdel-Aziz and Karara 1971. Both are exact on exact spots; the tests
with OpenCV are in tests/outside.
"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.closeups.camera import PhotoCamera, angle_between, distance_by_film, nearest_rotation, turned
from blender_addon.core.closeups.direct_linear import camera_of_many
from blender_addon.core.closeups.pose import Pose, Spots, pose_of, refined
from blender_addon.core.closeups.three_points import places_of_three

SIZE = (4000, 3000)


def _scene(seed: int, count: int = 6, *, distance: float = 4400.0, wide: float = 60.0) -> tuple[PhotoCamera, Spots]:
    """A camera and exact spots within `wide` mm, 0.6 of that deep."""
    rng = np.random.default_rng(seed)
    points = rng.uniform(-0.5, 0.5, (count, 3)) * (wide, 0.6 * wide, 0.7 * wide)
    rotation = turned(0.3 * rng.normal(size=3)) @ np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    place = -rotation.T @ np.array([0, 0, 1.1 * distance * wide / SIZE[0]])
    camera = PhotoCamera(rotation, place, distance, 0.01 * rng.normal(), SIZE)
    normals = place - points
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    return camera, Spots(points, camera.project(points)[0], normals)


def test_a_point_on_the_axis_lies_in_the_middle_and_one_beside_it_by_the_ratio_of_distances() -> None:
    camera = PhotoCamera(np.eye(3), np.zeros(3), 1000.0, 0.0, (400, 300))
    pixels, depth = camera.project(np.array([[0, 0, 50.0], [5.0, -2.0, 50.0]]))
    assert np.allclose(pixels, [[200, 150], [300, 110]]) and np.allclose(depth, 50)


def test_the_radial_term_at_the_corner_is_its_own_share() -> None:
    camera = PhotoCamera(np.eye(3), np.zeros(3), 500.0, -0.04, (800, 600))  # a corner is 500 pixels off the middle
    pixels, _ = camera.project(np.array([[40.0, 30.0, 50.0]]))
    assert np.allclose(pixels - (400, 300), 0.96 * np.array([400, 300]))


def test_bearings_undo_the_projection() -> None:
    camera, spots = _scene(3)
    ways = spots.points - camera.place
    assert np.allclose(camera.bearings(spots.pixels), ways / np.linalg.norm(ways, axis=1, keepdims=True), atol=1e-9)


def test_a_50_mm_lens_on_35_mm_film_has_its_image_50_mm_off() -> None:
    """On a 36 x 24 frame of 3600 x 2400 pixels a pixel is 0.01 mm (CIPA DC-008, FocalLengthIn35mmFilm)."""
    assert distance_by_film(50.0, (3600, 2400)) == pytest.approx(5000.0)


@pytest.mark.parametrize("seed", range(12))
def test_three_points_have_the_true_camera_among_their_places(seed: int) -> None:
    camera, spots = _scene(seed, 3)
    flat = PhotoCamera(np.eye(3), np.zeros(3), camera.distance, camera.radial, SIZE)
    found = places_of_three(spots.points, flat.bearings(spots.pixels))
    assert 1 <= len(found) <= 4
    off = min(np.linalg.norm(place - camera.place) + angle_between(turn, camera.rotation) for turn, place in found)
    assert off < 1e-3  # mm and degrees; a quartic near a double root keeps half of its digits


def test_three_points_on_a_line_have_no_place() -> None:
    points = np.array([[0.0, 0, 50], [1, 0, 50], [2, 0, 50]])
    assert places_of_three(points, points / np.linalg.norm(points, axis=1, keepdims=True)) == []


def test_six_exact_spots_give_the_camera_by_the_linear_way_and_a_flat_set_does_not() -> None:
    camera, spots = _scene(5, 8)
    straight = PhotoCamera(camera.rotation, camera.place, camera.distance, 0.0, SIZE)
    found = camera_of_many(spots.points, straight.project(spots.points)[0], SIZE)
    assert found is not None and found.distance == pytest.approx(camera.distance, rel=1e-6)
    assert np.allclose(found.place, camera.place, atol=1e-4) and angle_between(found.rotation, camera.rotation) < 1e-4
    flat = spots.points * (1, 0, 1)
    assert camera_of_many(flat, straight.project(flat)[0], SIZE) is None


@pytest.mark.parametrize("known", [True, False])
def test_six_spots_two_pixels_off_place_the_piece(known: bool) -> None:
    """What counts is where the piece lies on the photo: within 8 pixels, 0.12 mm, all over the spots' reach."""
    rng = np.random.default_rng(8)
    for seed in range(6):
        camera, exact = _scene(seed + 20)
        spots = Spots(exact.points, exact.pixels + 2.0 * rng.normal(size=exact.pixels.shape), exact.normals)
        pose = pose_of(spots, SIZE, distance=0.97 * camera.distance if known else None)
        assert pose.verdict == "sure", pose.why
        apart = np.linalg.norm(pose.camera.project(exact.points)[0] - exact.pixels, axis=1)
        assert apart.max() < 8 and angle_between(pose.camera.rotation, camera.rotation) < 1.5


def test_a_wrong_focal_length_in_the_file_does_not_stand_in_the_way() -> None:
    camera, spots = _scene(31, 8)
    pose = pose_of(spots, SIZE, distance=3.0 * camera.distance)
    assert pose.verdict == "sure" and pose.camera.distance == pytest.approx(camera.distance, rel=0.01)


def test_a_spot_set_wrong_is_named_and_moves_the_camera_little() -> None:
    camera, spots = _scene(40, 8)
    pixels = spots.pixels.copy()
    pixels[2] += (180, -90)
    pose = pose_of(Spots(spots.points, pixels, spots.normals), SIZE)
    assert pose.verdict == "not sure" and "spot 3 lies" in pose.why
    assert angle_between(pose.camera.rotation, camera.rotation) < 0.3


def _mirrored(spots: Spots) -> Pose:
    return pose_of(Spots(spots.points, spots.pixels * (-1, 1) + (SIZE[0], 0), spots.normals), SIZE)


def test_a_mirrored_photo_is_reported_as_such() -> None:
    _, spots = _scene(41, 7)
    pose = _mirrored(spots)
    assert pose.verdict == "no fit" and "mirrored" in pose.why


def test_spots_of_another_piece_fit_no_camera() -> None:
    _, spots = _scene(42, 7)
    _, other = _scene(43, 7)
    pose = pose_of(Spots(spots.points, other.pixels, spots.normals), SIZE)
    assert pose.verdict == "no fit"


def test_four_spots_give_a_camera_that_is_not_called_sure_and_three_none() -> None:
    camera, spots = _scene(44, 4)
    pose = pose_of(spots, SIZE, distance=camera.distance)
    assert pose.verdict == "not sure" and "two more" in pose.why
    with pytest.raises(ValueError, match="mark 4 or more"):
        pose_of(Spots(spots.points[:3], spots.pixels[:3]), SIZE)


def test_spots_on_a_line_are_refused() -> None:
    points = np.linspace(0, 1, 6)[:, None] * np.array([[30.0, 0, 10.0]])
    with pytest.raises(ValueError, match="one line"):
        pose_of(Spots(points, points[:, :2] * 50 + 100), SIZE)


def test_the_nearest_rotation_is_one() -> None:
    rotation = nearest_rotation(np.random.default_rng(0).normal(size=(3, 3)))
    assert np.allclose(rotation @ rotation.T, np.eye(3)) and np.linalg.det(rotation) == pytest.approx(1.0)


def test_a_fit_that_begins_far_off_still_ends_at_the_camera() -> None:
    """From 70 degrees off and 1.3 times as far, on ten exact spots: where a step makes it worse, a shorter one is taken
    (Marquardt, SIAM J. Appl. Math. 11, 1963), which finds the camera 19 times in 20; full steps alone find it 13 times."""
    found = 0
    for seed in range(20):
        camera, spots = _scene(seed + 50, 10)
        axis = np.random.default_rng(seed).normal(size=3)
        off = turned(np.radians(70.0) * axis / np.linalg.norm(axis)) @ camera.rotation
        start = PhotoCamera(off, 1.3 * camera.place, camera.distance, camera.radial, SIZE)
        fitted = refined(start, spots, distance=camera.distance, click=2.0)
        found += bool(np.abs(fitted.project(spots.points)[0] - spots.pixels).max() < 1.0)
    assert found >= 17
