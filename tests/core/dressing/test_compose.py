"""Do things lie where they look as if they rested, and where a photographer would leave them?"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from blender_addon.core.dressing.compose import (
    LEVEL,
    Bench,
    Thing,
    compose,
    spread_points,
)
from blender_addon.core.dressing.in_the_way import before_feet, in_way, scrap_at_edge, stands_behind
from blender_addon.core.mesh.solids import rounded_rectangle, slab
from blender_addon.core.shots.framing import project
from blender_addon.core.shots.sight import ShotView, outside_distance

ROD = slab(rounded_rectangle(110.0, 8.0, 2.0, 3), 8.0)


def _slab_on_a_bench(xy: np.ndarray) -> np.ndarray:
    """A stone 9 mm thick that ends 70 mm to either side."""
    return np.where((np.abs(xy) < 70.0).all(axis=1), 9.0, 0.0)


@pytest.mark.parametrize("seed", range(6))
def test_a_long_thing_lies_on_a_slab_or_beside_it_but_not_over_its_edge(seed: int) -> None:
    points = spread_points(ROD.vertices, ROD.faces)
    spots = compose(
        [Thing("rod", points, False)], [],
        Bench(lambda xy: np.linalg.norm(xy, axis=1) - 20.0, 20.0, np.array([300.0, 300.0]), _slab_on_a_bench), seed=seed,
    )  # fmt: skip
    assert spots[0] is not None
    c, s = np.cos(spots[0].turn), np.sin(spots[0].turn)
    at = points[:, :2] @ np.array([[c, s], [-s, c]]) + spots[0].place
    assert np.ptp(_slab_on_a_bench(at)) < LEVEL


def _level_view() -> ShotView:
    """A camera 400 mm before the origin at the height of 40 mm, level; the subject fills 60 mm round the origin."""
    outline = np.array([[-0.075, -0.1], [0.075, -0.1], [0.075, 0.1], [-0.075, 0.1]])
    return ShotView(
        "back", "view", np.array([0.0, -400.0, 40.0]), np.array([[1.0, 0, 0], [0, 0, -1.0], [0, 1.0, 0]]), (0.2, 0.14),
        400.0, 390.0, 410.0, 5.0, outline, 370.0, 430.0,
    )  # fmt: skip


def _lump(place: tuple, low: float) -> np.ndarray:
    """Points of a lump 16 mm wide and 12 high whose lowest lie at the height `low`, mm."""
    sides = (-8.0, 0.0, 8.0)
    return np.array([[x, y, z] for x in sides for y in sides for z in (low, low + 12.0)]) + [*place, 0.0]


@pytest.mark.parametrize(
    ("place", "shows"),
    [((0.0, -90.0), True), ((70.0, -90.0), False), ((0.0, 120.0), False), ((0.0, -330.0), False)],
    ids=["before it", "beside it", "behind it", "under the frame"],
)
def test_what_lies_before_the_subjects_feet_is_in_the_way_of_a_shot(place: tuple, shows: bool) -> None:
    assert (before_feet(_lump(place, 0.0), _level_view()) > 0.5) is shows


@pytest.mark.parametrize(
    ("place", "cut"),
    [((50.0, -120.0), False), ((58.0, -150.0), True), ((82.0, 0.0), False), ((0.0, -330.0), False)],
    ids=["whole", "cut by the edge", "cut beside the subject", "out of the frame"],
)
def test_a_scrap_of_a_thing_before_the_subject_is_cleared_from_the_edge_of_a_shot(place: tuple, cut: bool) -> None:
    assert scrap_at_edge(_lump(place, 20.0), _level_view()) is cut


def test_a_blurred_scrap_far_behind_is_cleared_too_and_a_sharp_one_is_not() -> None:
    """700 mm from the lens the frame ends 140 mm beside the axis: 2 of 11 points lie inside. A 30 mm opening focused at 400 mm
    blurs there by 0.08 half frames, one of 3 mm by 0.008.
    """
    points = np.column_stack([np.linspace(136.5, 156.5, 11), np.full(11, 300.0), np.full(11, 40.0)])
    wide_open, stopped = (replace(_level_view(), aperture_mm=mm) for mm in (30.0, 3.0))
    assert scrap_at_edge(points, wide_open)
    assert not scrap_at_edge(points, stopped)
    assert not scrap_at_edge(points - [10.0, 0.0, 0.0], wide_open)  # half of it shows: a thing, not a scrap


@pytest.mark.parametrize(
    ("place", "kind", "away"),
    [((0.0, 60.0), "view", True), ((60.0, 60.0), "view", False), ((0.0, 60.0), "turntable", False)],
    ids=["behind it", "half behind it", "in a turn"],
)
def test_a_rod_that_shows_on_both_sides_of_the_subject_is_away_in_a_still(place: tuple, kind: str, away: bool) -> None:
    points = spread_points(ROD.vertices, ROD.faces) + [*place, 20.0]
    assert (in_way(points, [replace(_level_view(), kind=kind)]) == ("back",)) is away


def test_a_vase_behind_the_subject_is_known_and_one_beside_it_or_before_it_is_not() -> None:
    view = _level_view()
    assert stands_behind(_lump((0.0, 900.0), 30.0), view)
    assert not stands_behind(_lump((400.0, 900.0), 30.0), view)
    assert not stands_behind(_lump((0.0, -90.0), 30.0), view)


def test_a_tall_thing_goes_to_the_side_on_which_it_hides_behind_the_subject_in_no_shot() -> None:
    """The turntable's camera stands further left than the hero's: what is right of a figure there is behind it here."""
    post = slab(rounded_rectangle(24.0, 24.0, 6.0, 6), 50.0)
    points = spread_points(post.vertices, post.faces)
    outline = np.array([[-0.05, -0.1], [0.05, -0.1], [0.05, 0.1], [-0.05, 0.1]])

    def view(name: str, azimuth: float) -> ShotView:
        cos, sin = np.cos(azimuth), np.sin(azimuth)
        rotation = np.array([[cos, 0.0, sin], [sin, 0.0, -cos], [0.0, 1.0, 0.0]])
        position = rotation[:, 2] * 400.0 + [0.0, 0.0, 40.0]
        return ShotView(name, name, position, rotation, (0.3, 0.2), 400.0, 390.0, 410.0, 5.0, outline, 380.0, 420.0)

    views = [view("hero", 0.5), view("turntable", 0.0)]
    for seed in range(8):
        spot = compose(
            [Thing("post", points, True)], views,
            Bench(lambda xy: np.linalg.norm(xy, axis=1) - 20.0, 20.0, np.array([400.0, 400.0])), seed=seed,
        )[0]  # fmt: skip
        assert spot is not None
        placed = points + [*spot.place, 0.0]
        slopes, _ = project(placed, views[1].position, views[1].rotation)
        assert (outside_distance(slopes, outline) <= 0.0).mean() < 0.1


def test_what_would_outgrow_the_subject_in_the_picture_is_laid_nowhere() -> None:
    """A post of the subject's own size and width holds the eye as much as the piece: there is no place for it."""
    post = slab(rounded_rectangle(40.0, 40.0, 8.0, 6), 80.0)
    outline = np.array([[-0.05, -0.1], [0.05, -0.1], [0.05, 0.1], [-0.05, 0.1]])
    rotation = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
    hero = ShotView("hero", "hero", np.array([0.0, -400.0, 40.0]), rotation, (0.3, 0.2), 400.0, 390.0, 410.0, 5.0, outline,
                    380.0, 420.0)  # fmt: skip
    bench = Bench(lambda xy: np.linalg.norm(xy, axis=1) - 20.0, 20.0, np.array([400.0, 400.0]))
    small = slab(rounded_rectangle(20.0, 20.0, 4.0, 6), 40.0)
    for solid, placed in ((post, False), (small, True)):
        thing = Thing("post", spread_points(solid.vertices, solid.faces), True)
        spot = compose([thing], [hero], bench, seed=2)[0]
        assert (spot is not None) is placed


def test_of_a_tool_much_longer_than_the_picture_one_end_lies_beside_a_tiny_piece() -> None:
    """A tool of 160 mm beside a figure of 14 by 45 mm, whose hero is 97 mm wide (the stretching cat of 45 mm)."""
    tool = slab(rounded_rectangle(160.0, 8.0, 3.0, 4), 8.0)
    points = spread_points(tool.vertices, tool.faces)
    outline = np.array([[-0.02, -0.06], [0.02, -0.06], [0.02, 0.06], [-0.02, 0.06]])
    back = np.array([0.0, -np.cos(0.26), np.sin(0.26)])
    rotation = np.column_stack([[1.0, 0.0, 0.0], [0.0, np.sin(0.26), np.cos(0.26)], back])
    hero = ShotView("hero", "hero", 368.0 * back + [0.0, 0.0, 22.0], rotation, (0.13, 0.087), 368.0, 365.0, 371.0, 11.0,
                    outline, 355.0, 385.0)  # fmt: skip
    bench = Bench(lambda xy: np.linalg.norm(xy, axis=1) - 12.0, 12.0, np.array([400.0, 400.0]), back=110.0)
    for seed in range(6):
        spot = compose([Thing("tool", points, False)], [hero], bench, seed=seed)[0]
        assert spot is not None
        c, s = np.cos(spot.turn), np.sin(spot.turn)
        placed = points @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]) + [*spot.place, 0.0]
        slopes, _ = project(placed, hero.position, hero.rotation)
        shown = (np.abs(slopes) < np.array(hero.half_slopes)).all(axis=1)
        assert 0.02 < shown.mean() < 0.5  # of 160 mm no more than the frame beside the piece is wide
        assert (outside_distance(slopes, outline) > 0.0).all() and placed[:, 1].max() < bench.back
        assert np.ptp(slopes[shown, 1]) < 0.75 * np.ptp(outline[:, 1])
