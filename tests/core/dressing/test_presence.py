"""Are drawn props whole in the picture, but one that is plainly cut beside them?"""

from __future__ import annotations

from dataclasses import replace
from itertools import combinations

import numpy as np
import pytest

from blender_addon.core.arrays import Floats
from blender_addon.core.dressing import compose as composing
from blender_addon.core.dressing.compose import Bench, Spot, Thing, _Possible, compose, spread_points
from blender_addon.core.dressing.presence import AWKWARD, CROPPED, CUT, LEAST_END, NOWHERE, WITHIN, Frame, filled, hull_area
from blender_addon.core.mesh.solids import circle, rounded_rectangle, slab, tube
from blender_addon.core.shots.framing import look, project
from blender_addon.core.shots.sight import ShotView

BENCH = Bench(lambda xy: np.linalg.norm(xy, axis=1) - 14.0, 14.0, np.array([500.0, 420.0]))
THINGS = [
    Thing(name, spread_points(mesh.vertices, mesh.faces), False)
    for name, mesh in (
        ("tool", slab(rounded_rectangle(150.0, 9.0, 3.0, 4), 8.0)),
        ("rib", slab(rounded_rectangle(90.0, 36.0, 12.0, 5), 4.0)),
        ("rod", slab(rounded_rectangle(120.0, 6.0, 2.0, 4), 6.0)),
        ("peg", slab(rounded_rectangle(34.0, 8.0, 3.0, 4), 8.0)),
        ("card", slab(rounded_rectangle(24.0, 16.0, 2.0, 4), 2.0)),
    )
]


def _hero(scale: float) -> ShotView:
    """A hero from 15 degrees above whose frame is 2 * 51 * scale mm wide; the piece fills a third of that."""
    rotation = look(0.0, 15.0)
    outline = np.array([[-0.06, -0.076], [0.06, -0.076], [0.06, 0.083], [-0.06, 0.083]])
    far = 300.0 * scale
    place = far * rotation[:, 2] + [0.0, 0.0, 24.0 * scale]
    return ShotView("hero", "hero", place, rotation, (0.17, 0.113), far, far - 8, far + 8, 5.0, outline, far - 14, far + 14)


def _in_frame(thing: Thing, spot: Spot, hero: ShotView) -> Floats:
    """(n, 2) a thing's points in half frames."""
    c, s = np.cos(spot.turn), np.sin(spot.turn)
    points = thing.points @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]) + [*spot.place, 0.0]
    return np.asarray(project(points, hero.position, hero.rotation)[0] / np.array(hero.half_slopes))


@pytest.mark.parametrize("scale", [1.0, 1.6, 3.0], ids=["tight", "usual", "wide"])
def test_drawn_props_are_whole_or_plainly_cut_and_one_at_most_is_cut(scale: float) -> None:
    hero, shown = _hero(scale), 0
    for number in range(1, 5):
        spots = compose(THINGS, [hero], BENCH, seed=number, most=0.065)
        frames = [_in_frame(*pair, hero) for pair in zip(THINGS, spots, strict=True) if pair[1] is not None]
        cut = [frame for frame in frames if (np.abs(frame) > WITHIN).any()]
        assert len(cut) <= 1 and (not frames or len(cut) < len(frames))
        shown += len(frames)
        for frame in cut:
            framed = frame[(np.abs(frame) < 1.0).all(axis=1)]
            end = 0.5 * np.hypot(*np.ptp(framed * (1.0, 0.113 / 0.17), axis=0))
            assert len(framed) / len(frame) <= CROPPED[1]
            assert len(framed) / len(frame) >= CROPPED[0] or end >= LEAST_END
    assert shown >= 4  # one a picture on average, also in the tight frame


def test_where_all_that_was_laid_is_cut_the_small_thing_lies_whole_and_the_long_one_is_cut_beside_it(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Beside a wide piece a card's best place was cut by the frame, which then left the picture empty."""
    points = THINGS[4].points
    cut, whole, end = (
        _Possible(score, 0.01, is_cut, np.array([x, 0.0]), 0.0, points + [x, 0.0, 0.0])
        for score, is_cut, x in ((0.1, True, 80.0), (0.9, False, 60.0), (0.5, True, -80.0))
    )

    def places(thing: Thing, *_: object, hand: float, cuts: int) -> list[_Possible]:
        if thing.name == "tool":
            return [] if cuts else [end]
        return [whole] if cuts else [cut, whole]

    monkeypatch.setattr(composing, "_good_places", places)
    spots = compose([THINGS[4], THINGS[0]], [_hero(1.6)], BENCH, seed=1, most=0.065)
    assert [None if spot is None else spot.place[0] for spot in spots] == [60.0, -80.0]


def test_low_things_rarely_look_like_one_odd_thing() -> None:
    """Of twelve pictures two at most show one over another (a gap of 1.5 % of half the width); without the penalty five do."""
    hero, joined = _hero(3.0), 0
    for number in range(1, 13):
        spots = compose(THINGS, [hero], BENCH, seed=number, most=0.065)
        frames = [
            _in_frame(*pair, hero) * (1.0, 0.113 / 0.17) for pair in zip(THINGS, spots, strict=True) if pair[1] is not None
        ]
        gaps = [np.hypot(*(a[:, k, None] - b[:, k] for k in (0, 1))).min() for a, b in combinations(frames, 2)]
        joined += min(gaps, default=1.0) < 0.015
    assert joined <= 2


def test_what_the_user_names_is_placed_all_the_same() -> None:
    """In a frame in which no more than one of them could be whole, without a limit all are."""
    assert all(spot is not None for spot in compose(THINGS[:3], [_hero(1.0)], BENCH, seed=3))


def test_reserves_take_the_place_of_what_finds_none() -> None:
    hero = _hero(1.6)
    table = Thing("table", 20.0 * THINGS[1].points, False)  # as large as the picture
    spots = compose([table, *THINGS[3:]], [hero], BENCH, seed=2, most=0.065, wanted=2)
    assert spots[0] is None and sum(spot is not None for spot in spots) == 2
    assert sum(spot is not None for spot in compose(THINGS, [_hero(3.0)], BENCH, seed=2, most=0.065, wanted=2)) == 2


def test_a_nick_is_awkward_and_a_second_cut_too() -> None:
    hero = _hero(1.6)
    frame = Frame(hero, None, np.inf, 1.0)
    card = THINGS[4].points
    edge = hero.frame_mm / 2.0
    whole, nicked, halved, gone = (frame.judged(card + [x, 0.0, 0.0], 0) for x in (edge - 26, edge - 9, edge + 1, edge + 40))
    assert not whole.cut and nicked.cut and halved.cut
    assert whole.penalty < CUT <= halved.penalty < AWKWARD <= nicked.penalty < gone.penalty
    assert frame.judged(card + [edge + 1, 0.0, 0.0], 1).penalty >= AWKWARD
    assert replace(frame, most=0.5).judged(card + [edge - 9, 0.0, 0.0], 0) == NOWHERE


def test_the_area_of_something_bent_is_that_of_its_parts() -> None:
    """A wire bent to a right angle covers its length times its width; its convex outline half the square."""
    s = np.linspace(0.0, 60.0, 80)
    path = np.concatenate([np.column_stack([s, 0 * s, 0 * s]), np.column_stack([60.0 + 0 * s, s, 0 * s])[1:]])
    wire = tube(path, circle(1.0, 12))
    points = spread_points(wire.vertices, wire.faces)[:, :2]
    assert filled(points) < 0.75 * hull_area(points)
    plate = slab(rounded_rectangle(60.0, 20.0, 1.0, 4), 3.0)
    assert filled(spread_points(plate.vertices, plate.faces)[:, :2]) == pytest.approx(1200.0, rel=0.12)
