"""Things in the set stand clear of the subject's outline in a picture, or plainly behind it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blender_addon.core.dressing.compose import Bench, Thing, compose, spread_points
from blender_addon.core.dressing.tangency import outline_in_frame, tangency
from blender_addon.core.mesh.solids import rounded_rectangle, slab
from blender_addon.core.shots.sight import ShotView, convex_outline

POST = slab(rounded_rectangle(30.0, 30.0, 8.0, 6), 70.0)


def _subject(turn: float = 0.0) -> np.ndarray:
    """A narrow upright board 40 x 12 mm, 80 mm high, with a lid that leans out at the top: points (n, 3) on it."""
    rng = np.random.default_rng(4)
    body = rng.uniform([-20.0, -6.0, 0.0], [20.0, 6.0, 60.0], (20000, 3))
    lid = rng.uniform([-32.0, -6.0, 60.0], [32.0, 6.0, 80.0], (9000, 3))
    cos, sin = np.cos(turn), np.sin(turn)
    return np.concatenate([body, lid]) @ np.array([[cos, sin, 0.0], [-sin, cos, 0.0], [0.0, 0.0, 1.0]])


def _view(name: str, azimuth: float, turns: int = 1) -> ShotView:
    """A level camera 400 mm away at the height of 40 mm, its opening small."""
    cos, sin = np.cos(azimuth), np.sin(azimuth)
    rotation = np.array([[cos, 0.0, sin], [sin, 0.0, -cos], [0.0, 1.0, 0.0]])
    position = rotation[:, 2] * 400.0 + [0.0, 0.0, 40.0]
    turned = [_subject(2.0 * np.pi * k / turns) for k in range(turns)]
    local = (np.concatenate(turned) - position) @ rotation
    outline = convex_outline(local[:, :2] / -local[:, 2:])
    view = ShotView(name, name, position, rotation, (0.25, 0.17), 400.0, 380.0, 420.0, 0.5, outline, 370.0, 430.0)
    return replace(view, outlines=tuple(outline_in_frame(points, view) for points in turned))


def _post(x: float, y: float) -> np.ndarray:
    return spread_points(POST.vertices, POST.faces) + [x, y, 0.0]


def test_the_outline_is_the_true_one_not_the_hull_round_it() -> None:
    distance = _view("hero", 0.0).outlines[0]
    rows, columns = distance.shape
    beside = distance[int(rows * (0.5 - 0.5 * (10 / 400) / 0.17)), int(columns * (0.5 + 0.5 * (26 / 400) / 0.25))]
    assert beside == pytest.approx((26 - 20) / 400 / 0.25, abs=0.03)  # under the lid: 6 mm of air; a cell is 0.02
    assert distance[rows // 2, columns // 2] < -0.1


@pytest.mark.parametrize(
    ("place", "touches"),
    [((60.0, 60.0), False), ((0.0, 60.0), True), ((49.0, 60.0), True), ((25.0, 60.0), False), ((300.0, 60.0), False)],
    ids=["clear of it", "peeking out", "edge on edge", "plainly behind", "out of the frame"],
)
def test_what_just_touches_is_distinguished_from_what_stands_clear_or_plainly_behind(place: tuple, touches: bool) -> None:
    """The board is 40 mm wide; seen from there what stands 60 mm behind it is an eighth smaller."""
    points = _post(*place)
    if place == (0.0, 60.0):
        points = points * [1.65, 1.0, 1.0]  # it peeks out by 1 to 2 mm on both sides
        points = points[points[:, 2] < 50.0]
    assert (tangency(points, _view("hero", 0.0)) > 0.5) is touches


def test_a_subject_that_turns_is_looked_at_in_all_its_positions() -> None:
    still, turning = _view("turntable", 0.0), _view("turntable", 0.0, turns=24)
    edge_on = _post(27.0, 60.0)  # plainly behind the broad side, but its edge meets the narrow one's
    assert tangency(edge_on, turning) > 0.5 > tangency(edge_on, still)


@pytest.mark.parametrize("seed", range(8))
def test_no_thing_touches_the_outline_in_a_shot_that_shows_it(seed: int) -> None:
    views = [_view("hero", 0.3), _view("back", 2.9), _view("turntable", 0.0, turns=24)]
    low = slab(rounded_rectangle(24.0, 24.0, 6.0, 6), 48.0)  # a prop as high as the board would be laid nowhere
    things = [Thing("post", spread_points(low.vertices, low.faces), True)] * 3
    spots = compose(
        things, views, Bench(lambda xy: np.linalg.norm(xy, axis=1) - 34.0, 34.0, np.array([400.0, 300.0])), seed=seed,
    )  # fmt: skip
    assert any(spot is not None for spot in spots)
    for thing, spot in zip(things, spots, strict=True):
        if spot is None:
            continue
        cos, sin = np.cos(spot.turn), np.sin(spot.turn)
        points = thing.points @ np.array([[cos, sin, 0.0], [-sin, cos, 0.0], [0.0, 0.0, 1.0]]) + [*spot.place, 0.0]
        for view in views:
            if view.name not in spot.hidden_in:
                assert tangency(points, view) <= 0.5
    shown = [spot for spot in spots if spot is not None and "turntable" not in spot.hidden_in]
    assert shown  # not by clearing the turntable of everything
