"""Do three points, many points and the projection agree with OpenCV's `solveP3P`, `projectPoints` and `solvePnP`?

OpenCV (Bradski 2000) is used by this test alone: P3P after Ke and Roumeliotis 2017, PnP by Levenberg and Marquardt.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from blender_addon.core.closeups.camera import PhotoCamera, angle_between, turned
from blender_addon.core.closeups.direct_linear import camera_of_many
from blender_addon.core.closeups.pose import Spots, refined
from blender_addon.core.closeups.three_points import places_of_three

pytestmark = pytest.mark.oracle

SIZE = (4000, 3000)


@pytest.fixture(scope="module")
def cv2() -> Any:
    return pytest.importorskip("cv2")


def _scene(seed: int, count: int) -> tuple[PhotoCamera, np.ndarray]:
    rng = np.random.default_rng(seed)
    points = rng.uniform(-0.5, 0.5, (count, 3)) * (50.0, 30.0, 40.0)
    rotation = turned(0.4 * rng.normal(size=3)) @ np.array([[1.0, 0, 0], [0, 0, -1], [0, 1, 0]])
    return PhotoCamera(rotation, -rotation.T @ np.array([2.0, -3.0, 70.0]), 4200.0, 0.0, SIZE), points


def _lens(camera: PhotoCamera) -> np.ndarray:
    return np.array([[camera.distance, 0, SIZE[0] / 2], [0, camera.distance, SIZE[1] / 2], [0, 0, 1.0]])


@pytest.mark.parametrize("seed", range(8))
def test_the_same_places_of_three_points(cv2: Any, seed: int) -> None:
    camera, points = _scene(seed, 3)
    pixels = camera.project(points)[0]
    flat = PhotoCamera(np.eye(3), np.zeros(3), camera.distance, 0.0, SIZE)
    ours = places_of_three(points, flat.bearings(pixels))
    _, turns, shifts = cv2.solveP3P(points, pixels, _lens(camera), None, cv2.SOLVEPNP_P3P)
    theirs = [
        (cv2.Rodrigues(turn)[0], -cv2.Rodrigues(turn)[0].T @ shift.ravel()) for turn, shift in zip(turns, shifts, strict=True)
    ]
    for rotation, place in theirs:
        off = min(np.linalg.norm(position - place) + angle_between(turn, rotation) for turn, position in ours)
        assert off < 0.02  # mm and degrees


def test_the_same_projection_with_its_radial_term(cv2: Any) -> None:
    camera, points = _scene(20, 30)
    bent = PhotoCamera(camera.rotation, camera.place, camera.distance, -0.05, SIZE)
    half = 0.5 * np.hypot(*SIZE)
    k1 = -0.05 * (camera.distance / half) ** 2  # theirs counts in image distances, ours in half diagonals
    turn, shift = cv2.Rodrigues(camera.rotation)[0], -camera.rotation @ camera.place
    theirs = cv2.projectPoints(points, turn, shift, _lens(camera), np.array([k1, 0, 0, 0]))[0].reshape(-1, 2)
    assert np.allclose(bent.project(points)[0], theirs, atol=1e-6)


def test_the_same_camera_of_many_points(cv2: Any) -> None:
    camera, points = _scene(21, 12)
    pixels = camera.project(points)[0] + np.random.default_rng(3).normal(0, 1.0, (12, 2))
    _, turn, shift = cv2.solvePnP(points, pixels, _lens(camera), None, flags=cv2.SOLVEPNP_ITERATIVE)
    rotation = cv2.Rodrigues(turn)[0]
    ours = refined(camera, Spots(points, pixels), distance=camera.distance, click=50.0, free=False)  # wide: plain least squares
    assert angle_between(ours.rotation, rotation) < 0.01
    assert np.linalg.norm(ours.place + rotation.T @ shift.ravel()) < 0.02
    linear = camera_of_many(points, camera.project(points)[0], SIZE)
    assert linear is not None and linear.distance == pytest.approx(camera.distance, rel=1e-6)
