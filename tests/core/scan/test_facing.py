"""Is the front found where head, fine work and mirror plane say, and are the file's axes believed as far as they go?"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from blender_addon.core.arrays import Floats
from blender_addon.core.scan.facing.choosing import NO_FRONT, facings
from blender_addon.core.scan.facing.lying import lies_flat
from blender_addon.core.scan.facing.profiles import Standing, profiles
from blender_addon.core.scan.roughness import rough_side
from blender_addon.core.scan.standing.body import fibonacci_directions
from blender_addon.job.decisions import ASK_BELOW_OF

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


def lying(relief: Callable[[Floats, Floats], Floats], *, dome: float = 0.0, outline: float = 1.0) -> Standing:
    """A disc (or an oval) of 30 mm and 4 mm thick with a relief on it, as points of a grid; a dome is a part of its height."""
    x, y = (part.ravel() for part in np.meshgrid(np.linspace(-30, 30, 220), np.linspace(-30, 30, 220)))
    radius = np.hypot(x, y / outline) / 30.0
    x, y, radius = x[radius < 1.0], y[radius < 1.0], radius[radius < 1.0]
    top = 4.0 + dome * (1.0 - radius**2) + relief(x, y)
    edge = np.linspace(0.0, 2.0 * np.pi, 3000, endpoint=False)
    rim = np.stack([30.0 * np.cos(edge), 30.0 * outline * np.sin(edge), np.tile(np.linspace(0.0, 4.0, 10), 300)], axis=1)
    points = np.concatenate([np.stack([x, y, top], axis=1), np.stack([x, y, 0.0 * x], axis=1), rim])
    up = np.tile([0.0, 0.0, 1.0], (len(x), 1))
    normals = np.concatenate([up, -up, rim * [1.0, 1.0, 0.0] / np.linalg.norm(rim[:, :2], axis=1, keepdims=True)])
    return Standing(points, normals, 0.0)


def a_head_in_profile(x: Floats, y: Floats) -> Floats:
    return 1.8 * np.exp(-(((x + 4.0) / 7.0) ** 2) - ((y - 4.0) / 9.0) ** 2) + np.exp(-(((x - 6.0) / 3.0) ** 2) - (y / 3.0) ** 2)


def two_handles(x: Floats, y: Floats) -> Floats:
    return 2.0 * np.exp(-(((np.abs(x) - 20.0) / 4.0) ** 2) - (y / 8.0) ** 2)


@pytest.mark.parametrize("dome", [0.0, 12.0])
@pytest.mark.parametrize("outline", [1.0, 0.75])
def test_a_relief_that_lies_flat_is_no_surer_of_its_front_than_its_relief_tells(dome: float, outline: float) -> None:
    """A medal, an oval one, a mask: its body looks the same from behind, what it shows does not, so that it is asked about."""
    found = facings(lying(a_head_in_profile, dome=dome, outline=outline))
    assert found[0].chance < ASK_BELOW_OF["front"]
    sides = {round((facing.angle_deg - found[0].angle_deg) / 90.0) % 4 for facing in found}
    assert sides >= {0, 1, 3}  # the opposite one is always offered (`standing_choices.front_decision`)


@pytest.mark.parametrize("relief", [two_handles, lambda x, y: 0.0 * x])
def test_what_lies_flat_and_looks_the_same_turned_by_half_is_not_asked_about(
    relief: Callable[[Floats, Floats], Floats],
) -> None:
    assert facings(lying(relief, outline=0.75))[0].chance > ASK_BELOW_OF["front"]


def test_a_slab_without_anything_above_its_base_has_four_sides_or_none() -> None:
    """All of it is base: with a relief on its upper side any of the four may be the front, without one they are all right."""
    shown, plain = (replace(lying(relief), piece_low=50.0) for relief in (a_head_in_profile, lambda x, y: 0.0 * x))
    assert [facing.chance for facing in facings(shown)] == [0.25] * 4
    assert [facing.chance for facing in facings(plain)] == [NO_FRONT]


def test_a_dish_is_no_relief() -> None:
    """Its bottom lies far below its rim: it is uneven as hands leave it, and has no side from which it is read."""

    def bowl(x: Floats, y: Floats) -> Floats:
        return 18.0 * (x**2 + y**2) / 900.0 + 0.5 * np.sin(0.8 * x + 1.1 * y)

    assert not lies_flat(lying(bowl)) and lies_flat(lying(a_head_in_profile, dome=12.0))
