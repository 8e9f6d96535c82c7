"""Do photos of one lens find its focal length together, is a zoomed one left out, and are cameras as far off as is said?

The photos are points on an ellipsoid, projected by the thin lens's formula v = f (1 + m), so that the truth is known to any digit.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np

from blender_addon.core.closeups.camera import PhotoCamera, moved, turned
from blender_addon.core.closeups.placing.judging import lies_right
from blender_addon.core.closeups.placing.light import Light
from blender_addon.core.closeups.placing.look import Skin
from blender_addon.core.closeups.placing.lumps import NODES, field_of
from blender_addon.core.closeups.placing.one_lens import Focal, joined, sharing
from blender_addon.core.closeups.placing.refinement import Fit, Rests
from blender_addon.core.closeups.placing.resection import Prior, Seen, equations_at, resected
from blender_addon.core.closeups.placing.together import Lens, Shot, solved_together
from blender_addon.core.closeups.placing.uncertainty import uncertainty
from blender_addon.core.closeups.seen import Form
from blender_addon.job.runner import finish

SIZE = (2000, 1500)
AXES = np.array([30.0, 25.0, 45.0])
REACH = float(np.linalg.norm(2 * AXES))
FOCAL, SENSOR = 1.6, 12.0
NAMED = Lens(1.5, 0.6, SENSOR, 0.5)
PRIOR = Prior(1.5 * SIZE[0], 0.6)


def _camera(rng: Any, focal: float = FOCAL) -> PhotoCamera:
    """A camera from a random side whose lens is focused on the piece's middle."""
    azimuth, tilt = rng.uniform(0, 2 * np.pi), np.radians(rng.uniform(-5, 50))
    back = np.array([np.sin(azimuth) * np.cos(tilt), -np.cos(azimuth) * np.cos(tilt), np.sin(tilt)])
    right = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
    rotation = turned(0.05 * rng.normal(size=3)) @ np.stack([right, np.cross(-back, right), -back])
    wide = REACH * rng.uniform(0.9, 1.5)
    distance = SIZE[0] * focal * (1.0 + SENSOR / wide)
    return PhotoCamera(rotation, -distance / SIZE[0] * wide * rotation[2], distance, 0.002, SIZE)


def _seen(rng: Any, camera: PhotoCamera, count: int = 150) -> Seen:
    """Points of the ellipsoid that a camera sees, with their normals and true pixels."""
    ways = rng.normal(size=(20 * count, 3))
    ways /= np.linalg.norm(ways, axis=1, keepdims=True)
    points, normals = ways * AXES, ways / AXES
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    facing = np.flatnonzero(np.einsum("ij,ij->i", points - camera.place, normals) < -0.3 * np.linalg.norm(camera.place))[:count]
    points, normals = points[facing], normals[facing]
    whiten = np.broadcast_to(np.eye(2), (len(points), 2, 2))
    return Seen(points, camera.project(points)[0], whiten, None, normals)


def _off_percent(camera: PhotoCamera, true: PhotoCamera) -> float:
    return 100.0 * float(np.linalg.norm(camera.scaled(SIZE).place - true.place) / np.linalg.norm(true.place))


def test_exact_points_give_the_thin_lens_itself() -> None:
    rng = np.random.default_rng(1)
    cameras = [_camera(rng) for _ in range(4)]
    seen = [_seen(rng, camera) for camera in cameras]
    away = [moved(camera, np.array([0.002, -0.003, 0.001, 0.5, -0.3, 3.0, -0.03, 0.01])) for camera in cameras]
    shots = [Shot(start, points, PRIOR, 1.0, lens=True) for start, points in zip(away, seen, strict=True)]
    found = solved_together(shots, REACH, 0.1, NAMED)
    for camera, true in zip(found.cameras, cameras, strict=True):
        assert _off_percent(camera, true) < 0.02  # half of that is the radial term, which is expected near 0
        assert abs(np.log(camera.distance / true.distance)) < 2e-4


def _fit(rng: Any, camera: PhotoCamera, noise: float = 1.0) -> Fit:
    """A photo whose camera was found alone, by points that are `noise` pixels off each."""
    seen = _seen(rng, camera)
    seen = replace(seen, pixels=seen.pixels + noise * rng.normal(size=seen.pixels.shape))
    alone = resected(camera, seen, PRIOR)
    off = uncertainty(alone, seen, PRIOR, 1.0, diagonal=1200.0)
    light = Light(np.zeros(9), None, 0.5)
    found = Fit(alone, 200, 150, 140, 0.8, 0.05, off.turn_deg, off.place_percent, 0.07, 0.07, light)
    return replace(found, rests_on=Rests(alone, seen, 1.0, PRIOR))


def _skin() -> Skin:
    corners = np.array([[x, y, z] for x in (-1, 1) for y in (-1, 1) for z in (-1, 1)], float) * AXES
    return Skin(Form(corners, np.array([[0, 1, 2]]), corners / np.linalg.norm(corners, axis=1, keepdims=True)), texel_mm=0.07)


def test_a_zoomed_photo_is_left_out_and_spoils_nothing() -> None:
    rng = np.random.default_rng(3)
    cameras = [*(_camera(rng) for _ in range(4)), _camera(rng, 1.3 * FOCAL)]
    fits = [_fit(rng, camera) for camera in cameras]
    assert all(lies_right(fit) for fit in fits)
    new = finish(joined(fits, NAMED, _skin()))
    assert new[4] is fits[4] and all(after is not before for after, before in zip(new[:4], fits, strict=False))
    without = finish(joined(fits[:4], NAMED, _skin()))
    for fit, alike, before, true in zip(new, without, fits, cameras[:4], strict=False):
        assert np.abs(fit.camera.place - alike.camera.place).max() < 1e-9
        assert fit.place_percent < before.place_percent
        assert _off_percent(fit.camera, true) < 3.0 * fit.place_percent + 0.02
    before, after = (np.mean([_off_percent(fit.camera, true) for fit, true in zip(of, cameras[:4], strict=False)])
                     for of in (fits, new))  # fmt: skip
    assert after < before


def test_photos_without_patches_or_alone_stay_as_they_are() -> None:
    fit = _fit(np.random.default_rng(4), _camera(np.random.default_rng(5)))
    assert finish(joined([fit], NAMED, _skin())) == [fit]
    bare = replace(fit, rests_on=None)
    assert finish(joined([fit, bare], NAMED, _skin())) == [fit, bare]


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


def _normalized(camera: PhotoCamera, true: PhotoCamera, covariance: Any) -> float:
    """The square of how far a camera's place is off, in the deviations that its covariance says."""
    step = camera.rotation @ (camera.place - true.place)
    return float(step @ np.linalg.solve(covariance[3:6, 3:6], step))


def test_cameras_are_as_far_off_as_is_said() -> None:
    """Draws of the model itself: lumps, points that are off in twos alike (as overlapping patches are), one lens."""
    said, plain = [], []
    for draw in range(6):
        rng = np.random.default_rng((11, draw))
        cameras = [_camera(rng) for _ in range(4)]
        seen = [_seen(rng, camera) for camera in cameras]
        field = field_of([points.points for points in seen], REACH / NODES)
        heights = 0.1 * rng.normal(size=field.count)
        shots = []
        for number, (camera, part) in enumerate(zip(cameras, seen, strict=True)):
            high = np.sum(field.share[number] * heights[field.index[number]], axis=1)
            pixels = camera.project(part.points + high[:, None] * part.normals)[0] + rng.normal(size=part.pixels.shape)
            two = Seen(*(np.repeat(of, 2, axis=0) for of in (part.points, pixels, part.whiten)), None,
                       np.repeat(part.normals, 2, axis=0))  # fmt: skip
            alone = resected(camera, two, PRIOR, scale=1.3)
            shots.append(Shot(alone, two, PRIOR, 1.0, lens=True))
            plain.append(_normalized(alone, camera, np.linalg.inv(equations_at(alone, two, PRIOR, 1.3).normal)))
        found = solved_together(shots, REACH, 0.07, NAMED)
        said += [_normalized(*each) for each in zip(found.cameras, cameras, found.covariance, strict=True)]
    # a mean of 24 sums of three squares has a deviation of a sixth of 3
    print(np.mean(said)/3,np.mean(plain)/3)
    assert 0.5 < np.mean(said) / 3.0 < 1.5
    assert np.mean(plain) / 3.0 > 1.5  # what would be said if each point were off by itself
