"""Do photos of one lens find its focal length together, is a zoomed one left out, and are cameras as far off as is said?

The photos are points on an ellipsoid, projected by the thin lens's formula v = f (1 + m), so that the truth is
known to any digit.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from blender_addon.core.closeups.camera import PhotoCamera, turned
from blender_addon.core.closeups.placing.judging import RIVAL, may_be_right
from blender_addon.core.closeups.placing.light import Light
from blender_addon.core.closeups.placing.one_lens import FOCUSED, Focal, Sensor, focal_of, joined, sensor_by_film, sharing
from blender_addon.core.closeups.placing.refinement import Fit, Rests
from blender_addon.core.closeups.placing.resection import TOGETHER, Prior, Seen, resected
from blender_addon.core.closeups.placing.uncertainty import covariance_of, uncertainty

SIZE = (2000, 1500)
AXES = np.array([30.0, 25.0, 45.0])
REACH = float(np.linalg.norm(2 * AXES))
FOCAL, SENSOR = 1.6, 12.0
KNOWN = Sensor(SENSOR, 0.5)
PRIOR = Prior(1.5 * SIZE[0], 0.6)
DIAGONAL = 1200.0


def _camera(rng: Any, focal: float = FOCAL, off: float = 0.0) -> PhotoCamera:
    """A camera from a random side whose lens is focused on the surface in the photo's middle, `off` in the log of it."""
    azimuth, tilt = rng.uniform(0, 2 * np.pi), np.radians(rng.uniform(-5, 50))
    back = np.array([np.sin(azimuth) * np.cos(tilt), -np.cos(azimuth) * np.cos(tilt), np.sin(tilt)])
    right = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
    rotation = turned(0.05 * rng.normal(size=3)) @ np.stack([right, np.cross(-back, right), -back])
    far = REACH * rng.uniform(1.8, 2.6)
    near = far - 1.0 / float(np.linalg.norm(back / AXES))  # where the axis meets the ellipsoid, nearly
    distance = SIZE[0] * focal / (1.0 - SENSOR * focal / near * np.exp(off))  # f (1 + m) with m = sensor v / depth
    return PhotoCamera(rotation, -far * rotation[2], float(distance), 0.002, SIZE)


def _seen(rng: Any, camera: PhotoCamera, count: int = 300) -> Seen:
    """Points of the ellipsoid that a camera sees, and their true pixels."""
    ways = rng.normal(size=(20 * count, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    points, normals = ways * AXES, ways / AXES
    facing = np.flatnonzero(np.einsum("ij,ij->i", camera.place - points, normals) > 0.2 * np.linalg.norm(normals, axis=1)
                            * np.linalg.norm(camera.place))[:count]  # fmt: skip
    return Seen(points[facing], camera.project(points[facing])[0], np.broadcast_to(np.eye(2), (len(facing), 2, 2)))


def _fit(rng: Any, camera: PhotoCamera, noise: float = 1.0, covariance: Any = None) -> Fit:
    """A photo whose camera was found alone, by points that are `noise` pixels off each."""
    seen = _seen(rng, camera)
    seen = replace(seen, pixels=seen.pixels + noise * rng.normal(size=seen.pixels.shape))
    alone = resected(camera, seen, PRIOR, scale=max(noise, 1e-3))
    spread = covariance_of(alone, seen, PRIOR, noise, diagonal=DIAGONAL) if covariance is None else covariance(alone, seen)
    off = uncertainty(alone, seen, spread)
    light = Light(np.zeros(9), None, 0.5)
    found = Fit(alone, 200, 150, 140, 0.8, 0.05, off.turn_deg, off.place_percent, 0.07, 0.07, light)
    return replace(found, rests_on=Rests(alone, seen, max(noise, 1e-3), spread))


def _off_percent(fit: Fit, true: PhotoCamera) -> float:
    return 100.0 * float(np.linalg.norm(fit.camera.place - true.place) / np.linalg.norm(true.place))


def test_an_exact_photo_says_the_focal_length() -> None:
    rng = np.random.default_rng(1)
    for _ in range(4):
        camera = _camera(rng)
        what = Rests(camera, _seen(rng, camera), 1.0, np.zeros((8, 8)))
        # points in the middle lie up to 2 % further away than the one on the axis, and m is a tenth
        assert abs(focal_of(what, KNOWN).log - np.log(FOCAL)) < 0.004
        assert abs(focal_of(what, Sensor(2 * SENSOR, 0.5)).log - np.log(FOCAL)) > 0.03  # the sensor's size matters


def test_a_sensor_by_two_focal_lengths() -> None:
    # a 35 mm frame itself, and the 4.25 mm lens of a phone that says 26 mm: its sensor's diagonal is 43.27 / 26 * 4.25 mm
    assert abs(sensor_by_film(50.0, 50.0, (6000, 4000)).longest_mm - 36.0) < 0.01
    assert abs(sensor_by_film(4.25, 26.0, (4032, 3024)).longest_mm - 0.8 * 7.073) < 0.01
    assert sensor_by_film(4.25, 26.0, (3024, 4032)) == sensor_by_film(4.25, 26.0, (4032, 3024))
    assert sensor_by_film(None, 26.0, SIZE).spread_mm > 5.0


def test_photos_of_one_lens_place_each_other() -> None:
    alone, together = [], []
    for draw in range(4):
        rng = np.random.default_rng((2, draw))
        cameras = [_camera(rng) for _ in range(5)]
        fits = [_fit(rng, camera, 3.0) for camera in cameras]
        new = joined(fits, KNOWN)
        for fit, before, true in zip(new, fits, cameras, strict=True):
            alone.append(_off_percent(before, true))
            together.append(_off_percent(fit, true))
    assert np.sqrt(np.mean(np.square(together))) < 0.7 * np.sqrt(np.mean(np.square(alone)))


def test_a_zoomed_photo_is_left_out_and_spoils_nothing() -> None:
    rng = np.random.default_rng(3)
    cameras = [*(_camera(rng) for _ in range(4)), _camera(rng, 1.3 * FOCAL)]
    fits = [_fit(rng, camera) for camera in cameras]
    new, without = joined(fits, KNOWN), joined(fits[:4], KNOWN)
    assert new[4] is fits[4] and all(after is not before for after, before in zip(new[:4], fits, strict=False))
    for fit, alike in zip(new, without, strict=False):
        assert np.array_equal(fit.camera.place, alike.camera.place) and fit.place_percent == alike.place_percent


def test_photos_that_rest_on_nothing_stay_as_they_are() -> None:
    rng = np.random.default_rng(4)
    fits = [_fit(rng, _camera(rng)) for _ in range(3)]
    rests = fits[0].rests_on
    assert rests is not None
    bare = replace(fits[0], rests_on=None)
    loose = replace(fits[0], rests_on=replace(rests, covariance=np.diag(np.full(8, np.inf))))
    assert joined([], KNOWN) == [] and joined(fits[:1], KNOWN)[0] is fits[0]
    assert all(new is old for new, old in zip(joined([fits[1], bare], KNOWN), [fits[1], bare], strict=True))
    new = joined([bare, *fits[1:], loose], KNOWN)
    assert new[0] is bare and new[3] is loose
    assert [fit.place_percent for fit in new[1:3]] == [fit.place_percent for fit in joined(fits[1:], KNOWN)]


def test_the_focal_lengths_that_agree() -> None:
    rng = np.random.default_rng(6)
    spreads = np.array([0.01, 0.03, 0.02, 0.05, 0.01])
    logs = 0.3 + spreads * rng.uniform(-1, 1, 5)
    agreeing = [Focal(float(log), float(spread) ** 2) for log, spread in zip(logs, spreads, strict=True)]
    assert list(sharing(agreeing)) == [0, 1, 2, 3, 4]
    assert list(sharing([agreeing[0], Focal(0.9, 1e-4), *agreeing[2:]])) == [0, 2, 3, 4]
    # one that knows nothing of it agrees with all, and two that contradict each other share nothing
    assert list(sharing([*agreeing[:2], Focal(1.0, 1.0)])) == [0, 1, 2]
    assert not len(sharing([agreeing[0], Focal(0.9, 1e-4)])) and not len(sharing(agreeing[:1]))


def test_cameras_are_as_far_off_as_is_said() -> None:
    """Over draws of the model itself: points off by themselves, and lenses that are not focused quite on the middle."""

    def spread(alone: PhotoCamera, seen: Seen) -> Any:  # no field of errors, and each point counts as one
        return covariance_of(alone, seen, PRIOR, 3.0, diagonal=1e9) / TOGETHER

    said = []
    for draw in range(12):
        rng = np.random.default_rng((11, draw))
        cameras = [_camera(rng, off=FOCUSED * float(rng.normal())) for _ in range(5)]
        for fit, true in zip(joined([_fit(rng, each, 3.0, spread) for each in cameras], KNOWN), cameras, strict=True):
            rests = fit.rests_on
            assert rests is not None
            step = rests.camera.rotation @ (rests.camera.place - true.place)
            said.append(float(step @ np.linalg.solve(rests.covariance[3:6, 3:6], step)))
    # sums of three squares: a mean of 60 has a deviation of 0.11 of 3, and photos of a set go together
    assert 0.6 < np.mean(said) / 3.0 < 1.5


def test_only_photos_that_may_be_right_say_something_of_a_lens() -> None:
    fit = _fit(np.random.default_rng(7), _camera(np.random.default_rng(8)))
    assert may_be_right(fit) and may_be_right(replace(fit, right=60)) and not may_be_right(replace(fit, right=20))
    assert not may_be_right(None) and not may_be_right(fit, replace(fit, right=int((RIVAL + 0.1) * fit.right)))
