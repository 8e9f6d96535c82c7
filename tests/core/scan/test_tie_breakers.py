"""What decides between poses that shape leaves open: colours that agree, a mark of the outline, the turn that stands out."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest

from blender_addon.core.mesh.similarity import Similarity, angle_between, rotation_from_vector
from blender_addon.core.scan.registration.surfels import Surfels
from blender_addon.core.scan.registration.tie_breakers.colour import (
    best_turn,
    features,
    likeness,
    one_a_side,
    separated,
    turned_about,
)
from blender_addon.core.scan.registration.tie_breakers.footprint import LEAD, LEAST, footprint
from blender_addon.core.scan.registration.tie_breakers.relief_turn import halves, unevenness
from tests.core.scan.test_registration import tree

UP, MIDDLE = np.array([0.0, 0.0, 1.0]), np.array([3.0, -2.0, 0.0])
STILL = Similarity(1.0, np.eye(3), np.zeros(3))


def disc(count: int = 1800, *, seed: int = 1, colour: bool = True) -> Surfels:
    """The upper side of a disc of 20 mm about `MIDDLE`, with a pattern of patches."""
    rng = np.random.default_rng(seed)
    angle, far = rng.uniform(0, 2 * np.pi, count), 20.0 * np.sqrt(rng.random(count))
    points = np.column_stack([far * np.cos(angle), far * np.sin(angle), 0 * far]) + MIDDLE
    x, y = points[:, 0], points[:, 1]
    base = 0.2 + 0.1 * np.stack([np.sin(0.45 * x + 1), np.cos(0.37 * y), np.sin(0.3 * (x + 2 * y))], axis=1)
    spacing = float(np.sqrt(np.pi * 400 / count))
    return Surfels(points, np.tile(UP, (count, 1)), np.zeros(count, bool), base if colour else None, spacing)  # type: ignore[arg-type]


def test_colours_agree_under_another_light_and_not_when_turned() -> None:
    """The second scan was exposed a stop more, whiter balanced otherwise, and lit from one side: its pattern is the same."""
    first, second = disc(), disc(seed=2)
    assert second.colour is not None
    lit = second.colour * np.array([2.2, 2.0, 1.7]) * np.exp(0.02 * second.points[:, :1])
    score = likeness(Surfels(second.points, second.normals, second.rim, lit, second.spacing), first, tree(first.points))
    assert score(STILL) > 0.85
    assert abs(score(turned_about(STILL, UP, MIDDLE, 90.0))) < 0.3
    assert score(Similarity(1.0, np.eye(3), np.array([0.0, 0.0, 9.0]))) == 0.0, "far off, no two points lie on each other"
    over = Similarity(1.0, rotation_from_vector(np.pi * np.array([1.0, 0.0, 0.0])), np.array([0.0, -4.0, 0.0]))
    assert score(over) == 0.0, "lying on their faces they touch, and show nothing of each other"
    assert likeness(disc(colour=False), first, tree(first.points))(STILL) == 0.0


def test_features_outlive_exposure_but_for_the_level() -> None:
    """Twice the exposure adds log 2 to the level, at half weight, and leaves the hues (of tones well above black)."""
    colour = np.array([[0.6, 0.4, 0.3], [2.0, 3.0, 5.0]])
    change = features(2.0 * colour) - features(colour)
    assert np.abs(change[:, :2]).max() < 0.03 and change[:, 2] == pytest.approx([0.5 * np.log(2.0)] * 2, abs=0.02)
    assert np.isfinite(features(np.array([[-0.1, 0.0, 0.2]]))).all()


@pytest.mark.parametrize("true", [37.3, 181.0, 359.1])
def test_the_best_turn_is_found_to_a_fraction_of_a_degree(true: float) -> None:
    """A score with one narrow peak of 4 degrees, and a lower one across; the axis stands beside the origin."""
    start = Similarity(1.3, rotation_from_vector(np.array([0.1, -0.2, 0.3])), np.array([1.0, 2.0, 3.0]))
    goals = [turned_about(start, UP, MIDDLE, turn) for turn in (true, true + 140.0)]

    def score(pose: Similarity) -> float:
        off = [angle_between(pose.rotation, goal.rotation) for goal in goals]
        return float(max(0.9 * np.exp(-((off[0] / 4.0) ** 2)), 0.5 * np.exp(-((off[1] / 4.0) ** 2))))

    found, stands_out = best_turn(score, [start], UP, MIDDLE)
    assert angle_between(found.rotation, goals[0].rotation) < 0.1 and stands_out
    assert np.allclose(found.apply(np.array([[4.0, 5.0, 6.0]])), goals[0].apply(np.array([[4.0, 5.0, 6.0]])), atol=0.02)
    assert found.scale == pytest.approx(1.3)
    assert not best_turn(score, [start], UP, MIDDLE, lead=0.5)[1], "the other peak is too near for that lead"
    assert not best_turn(score, [start], UP, MIDDLE, least=0.95)[1]


def test_a_pose_stands_out_only_beside_others_and_above_the_least() -> None:
    same = np.array([True, True, False, False])
    assert separated(np.array([0.72, 0.69, 0.5, 0.1]), same)
    assert not separated(np.array([0.72, 0.69, 0.53, 0.1]), same) and not separated(np.array([0.44, 0.4, 0.0, 0.0]), same)
    assert separated(np.array([0.45]), np.array([True])), "with nothing beside it"


def test_poses_that_differ_by_a_turn_alone_are_one_side() -> None:
    over = Similarity(1.0, rotation_from_vector(np.pi * np.array([0.6, 0.8, 0.0])), np.zeros(3))
    poses = [STILL, turned_about(STILL, UP, MIDDLE, 70.0), over, turned_about(over, UP, MIDDLE, 200.0)]
    assert one_a_side(poses, UP) == [STILL, over]


def test_halves_share_no_spot_and_are_spread_alike() -> None:
    """A chessboard of space: blocks of an eighth of the size, each wholly in one half, neighbours in the other."""
    whole = disc()
    first, second = halves(whole)
    assert len(first) + len(second) == len(whole) and 0.4 < len(first) / len(whole) < 0.6
    side = 0.12 * whole.size
    blocks = [{tuple(cell) for cell in np.floor(half.points / side).astype(int)} for half in (first, second)]
    assert not blocks[0] & blocks[1] and min(map(len, blocks)) > 8
    assert all((x + 1, y, z) not in cells for cells in blocks for x, y, z in cells)
    assert np.linalg.norm(first.points.mean(axis=0) - second.points.mean(axis=0)) < 0.15 * whole.size


def scans(moving: Surfels, fixed: Surfels) -> Any:
    """What is asked of two scans here: the fixed one, solid for 30 mm under each point, and the first points of the other."""
    return SimpleNamespace(
        fixed=fixed, nearest=tree(fixed.points), depth=np.full(len(fixed), 30.0),
        moving_part=lambda count: moving.part(slice(0, count)),
    )  # fmt: skip


def test_unevenness_is_the_mean_distance_and_never_more_than_the_most() -> None:
    first, second = disc(), disc(1000, seed=3)
    both = scans(second, first)
    lifted = Similarity(1.0, np.eye(3), np.array([0.0, 0.0, 0.2]))
    assert unevenness(both, STILL, 500, 1.0) == pytest.approx(0.0, abs=0.02)
    assert unevenness(both, lifted, 500, 1.0) == pytest.approx(0.2, abs=0.03)
    assert unevenness(both, lifted, 500, 0.1) == pytest.approx(0.1, abs=0.01)
    beside = Surfels(first.points, first.normals, np.ones(len(first), bool), None, first.spacing)  # type: ignore[arg-type]
    assert unevenness(scans(second, beside), STILL, 500, 1.0) == np.inf, "at a rim nothing is known"


@pytest.mark.parametrize("mark", ["colour", "height", "none"])
def test_a_mark_where_the_piece_stood_is_distinguished_from_a_plain_top(mark: str) -> None:
    """The top of a stand on which a piece stood: a paler spot of its outline, or a recess, or nothing."""
    stand = disc(1800, seed=5)
    under = np.linalg.norm(stand.points - MIDDLE, axis=1) < 9.0
    points = stand.points.copy()
    colour = 0.3 + np.random.default_rng(1).normal(0, 0.01, (len(stand), 3))
    if mark == "colour":
        colour[under] += 0.2
    if mark == "height":
        points[under, 2] -= 0.4
    fixed = disc(1800, seed=6)  # with the piece on it: its surface rises over the spot
    risen = fixed.points.copy()
    risen[np.linalg.norm(fixed.points - MIDDLE, axis=1) < 9.0, 2] += 1.0
    whole = Surfels(risen, fixed.normals, fixed.rim, None, fixed.spacing)
    found = footprint(Surfels(points, stand.normals, stand.rim, colour, stand.spacing), scans(stand, whole), STILL, reach=0.5)
    if mark == "none":
        assert found < LEAST - LEAD
    else:
        assert found > LEAST
