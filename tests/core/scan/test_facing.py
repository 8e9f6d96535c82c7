"""Is the front found where head, fine work and mirror plane say, and are the file's axes believed as far as they go?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.arrays import Floats
from blender_addon.core.scan.facing.choosing import facings
from blender_addon.core.scan.facing.profiles import Standing, profiles
from blender_addon.core.scan.roughness import rough_side
from blender_addon.core.scan.standing.body import fibonacci_directions

COUNT = 24_000


def ball(centre: tuple[float, float, float], size: tuple[float, float, float], count: int) -> tuple[Floats, Floats]:
    """Points on an ellipsoid and its unit normals."""
    ways = fibonacci_directions(count)
    normals = ways / np.array(size)
    return ways * size + np.array(centre), normals / np.linalg.norm(normals, axis=1, keepdims=True)


def animal(angle_deg: float) -> Standing:
    """A body with a head before it, turned by an angle from -Y."""
    parts = [
        ball((0.0, 0.0, 20.0), (9.0, 20.0, 12.0), COUNT), ball((0.0, -21.0, 38.0), (6.0, 8.0, 6.0), COUNT // 4),
        *(ball((x, y, 6.0), (3.0, 3.0, 7.0), COUNT // 12) for x in (-5.0, 5.0) for y in (-13.0, 13.0)),
    ]  # fmt: skip
    points, normals = (np.concatenate(rows) for rows in zip(*parts, strict=True))
    angle = np.radians(angle_deg)
    turn = np.array([[np.cos(angle), -np.sin(angle), 0.0], [np.sin(angle), np.cos(angle), 0.0], [0.0, 0.0, 1.0]])
    return Standing((points - [0.0, 0.0, points[:, 2].min()]) @ turn.T, normals @ turn.T, 0.0)


@pytest.mark.parametrize("angle", [0.0, 70.0, -140.0])
def test_an_animal_faces_where_its_head_is(angle: float) -> None:
    """Within half a step of the directions looked at, in every turn."""
    best = facings(animal(angle))[0]
    assert abs((best.angle_deg - angle + 180.0) % 360.0 - 180.0) < 5.0
    assert "its head stands out there" in best.words


def test_a_head_lies_ahead_by_what_it_is_shifted() -> None:
    """The profile is the shift of the head along each direction: a cosine about the front."""
    ahead = profiles(animal(0.0)).ahead
    assert int(ahead.argmax()) == 0
    assert ahead[9] == pytest.approx(0.0, abs=0.02) and ahead[18] == pytest.approx(-ahead[0], rel=0.01)


def test_fine_work_counts_less_along_a_body_that_is_longer_than_tall() -> None:
    """A body that is rough behind, lying and, with other heights, tall: along it what is rough counts by height over length."""
    points, normals = ball((0.0, 0.0, 12.0), (9.0, 30.0, 12.0), COUNT)
    spread = np.random.default_rng(2).normal(0.0, 0.5, normals.shape)
    normals = normals + np.where(points[:, 1:2] > 8.0, spread, 0.0)
    normals /= np.linalg.norm(normals, axis=1, keepdims=True)
    tall = points * [1.0, 1.0, 2.5]  # its height is as its length, and its cubes hold other points: within a tenth
    lying, standing = (profiles(Standing(each, normals, 0.0)).worked for each in (points, tall))
    assert standing[18] > 0.3
    assert lying[18] == pytest.approx(standing[18] * 12.0 / 30.0, rel=0.1)


def test_the_files_front_counts_by_format() -> None:
    """A thing that lies 90 degrees off the file's front: formats that scanners write as they are speak less against it."""
    thing = animal(90.0)
    alone, scanner, by_hand = (facings(thing, file=file) for file in (None, "a.ply", "a.obj"))
    chances = [
        next(facing.chance for facing in found if abs(facing.angle_deg - 90.0) < 20.0) for found in (alone, scanner, by_hand)
    ]
    assert chances[0] > chances[1] > chances[2]


def test_rough_sides_are_distinguished_from_smooth_ones() -> None:
    """A ball that is rough below: its rougher surface looks down, and one rough all over has no side to speak of."""
    points, normals = ball((0.0, 0.0, 0.0), (20.0, 20.0, 20.0), COUNT)
    spread = np.random.default_rng(2).normal(0.0, 0.5, normals.shape)
    rough = normals + np.where(points[:, 2:] < -4.0, spread, 0.0)
    rough /= np.linalg.norm(rough, axis=1, keepdims=True)
    side = rough_side(points, rough, 4.0)
    assert side[2] < -0.1 and np.abs(side[:2]).max() < 0.05
    all_over = normals + spread
    all_over /= np.linalg.norm(all_over, axis=1, keepdims=True)
    assert np.linalg.norm(rough_side(points, all_over, 4.0)) < 0.05
    assert not rough_side(points[:0], normals[:0], 4.0).any()
