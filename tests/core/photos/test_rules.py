"""The rules by which photographs are judged, on made-up figures: soft, shaken, cut, far, too many, too few on a side."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from blender_addon.core.photos import going_round, sharpness
from blender_addon.core.photos.edges import MOST_EDGES, Edges, _evenly_chosen
from blender_addon.core.photos.going_round import Round, sides, surplus
from blender_addon.core.photos.neighbours import Pair
from blender_addon.core.photos.piece import Piece
from blender_addon.core.photos.sharpness import WAYS, best_width, soft_limit

NAMES = [f"{number}.jpg" for number in range(24)]


def edges(width: float | np.ndarray, *, count: int = 480, angle: np.ndarray | None = None) -> Edges:
    """Edges of one width, or of a width for each, that rise in all directions alike."""
    none = np.zeros(count)
    angle = np.arange(count) * np.pi / count if angle is None else angle
    return Edges(none, none, np.broadcast_to(np.asarray(width, float), count).copy(), angle, none + 100.0, 1.0)


def verdicts(*widths: Edges) -> list[list[str]]:
    return [[remark.kind for remark in said] for said in sharpness.remarks([sharpness.sharpness(photo) for photo in widths])]


def test_a_photo_is_soft_beside_the_sharp_ones_of_its_set_and_from_four_pixels_on_in_any() -> None:
    """1.6 times the sharp quarter's width and 2.4 pixels at least; 4 pixels whatever the set (`SOFT_PIXELS`)."""
    assert soft_limit(1.0) == 2.4 and soft_limit(2.0) == pytest.approx(3.2) and soft_limit(9.0) == soft_limit(np.nan) == 4.0
    sharp = [edges(2.0)] * 6
    assert verdicts(*sharp, edges(3.1)) == [[]] * 7
    assert verdicts(*sharp, edges(3.3)) == [[]] * 6 + [["soft"]]
    assert verdicts(*[edges(4.2)] * 5) == [["soft"]] * 5, "a set that is soft throughout"
    few = [sharpness.sharpness(edges(9.0, count=count)) for count in (7, 8)]
    assert np.isnan(few[0].width) and few[1].width == 9.0 and best_width(few) == 9.0 and np.isnan(best_width(few[:1]))


def test_a_photo_is_represented_by_its_sharp_edges() -> None:
    """Round forms have wide edges in the sharpest photo: 30 % of sharp ones suffice, 10 % do not."""
    mixed = [np.where(np.arange(480) % 10 < tenth, 2.0, 6.0) for tenth in (3, 1)]
    assert [sharpness.sharpness(edges(width)).width for width in mixed] == [2.0, 6.0]


def test_a_shake_widens_the_edges_across_its_way_alone() -> None:
    """Edges that rise along 30 degrees are three times as wide in one photo: shaken that way. All ways wide: soft instead."""
    angle = np.arange(480) * np.pi / 480
    along = np.abs(np.mod(angle - np.radians(30.0) + np.pi / 2, np.pi) - np.pi / 2) < np.radians(30.0)
    shaken = edges(np.where(along, 6.0, 2.0), angle=angle)
    assert verdicts(*[edges(2.0)] * 6, shaken) == [[]] * 6 + [["shaken"]]
    grain = edges(np.where(along, 3.6, 2.0), angle=angle)  # as wide in every photo: that is the piece's own grain
    assert verdicts(*[grain] * 7) == [[]] * 7
    streaks = edges(1.5, angle=np.full(480, 0.3))
    assert verdicts(*[edges(2.0)] * 6, streaks) == [[]] * 6 + [["shaken"]]


def pieces() -> Piece:
    """In the first photo 36 x 18 of 72 cells, in the second the same run out over the left side, in the third nothing."""
    masks = np.zeros((3, 72, 72), bool)
    masks[0, 10:46, 20:38] = True
    masks[1, 10:46, 0:18] = True
    return Piece(masks, True, 0.95)


def test_how_large_the_piece_is_and_how_far_it_runs_out() -> None:
    found = pieces()
    assert found.span() == pytest.approx([0.5, 0.5, 0.0]) and found.cut() == pytest.approx([0.0, 0.5, 0.0])
    turned = Piece(np.swapaxes(found.masks, 1, 2), True, 0.95)
    assert turned.span() == pytest.approx([0.5, 0.5, 0.0]) and turned.cut() == pytest.approx([0.0, 0.5, 0.0])
    masks = found.masks.copy()
    masks[2] = masks[0]
    assert np.array_equal(Piece(masks, True, 0.9).around(1), masks[0] | masks[1]), "where both neighbours have it, too"
    assert np.array_equal(found.around(1), masks[1]) and np.array_equal(Piece(masks, True, 0.9).around(0), masks[0])


def ring(angles: np.ndarray, *, run: np.ndarray | None = None, closed: bool = True, known: bool = True) -> Round:
    """A set that has gone round by these angles, all its pairs sharing 60 spots."""
    pair = Pair(60, 200, 0.1, 10.0, np.ones(3))
    runs = np.zeros(len(angles), int) if run is None else run
    return Round((pair,) * (len(angles) - 1), known, angles, runs, (closed,) * (int(runs.max()) + 1))


def test_what_is_too_many_goes_where_photos_are_dense_and_faulty_ones_first() -> None:
    angles = np.array([0.0, 30.0, 35.0, 60.0, 90.0, 120.0])
    none = np.zeros(6, bool)
    assert surplus(ring(angles), none, 6) == [] and surplus(ring(angles), none, 5) == [2]  # which leaves 30 degrees
    assert surplus(ring(angles), none, 4) == [1, 2], "then 60 degrees are left either way; the first of equals"
    assert surplus(ring(angles), np.arange(6) == 3, 5) == [3], "a faulty one leaves 55 degrees, which count half"
    assert surplus(ring(angles, known=False), none, 5) == [1], "where only the order is known, any but the ends"
    runs = np.array([0, 0, 0, 1, 1, 1])
    assert surplus(ring(np.array([0.0, 10.0, 20.0, 0.0, 5.0, 10.0]), run=runs), none, 5) == [4]
    assert len(surplus(ring(angles), none, 0)) == 5, "one stays"


def test_a_side_with_too_few_good_photos_is_named_and_a_turn_that_does_not_meet_its_beginning() -> None:
    full, all_good = np.arange(24) * 15.0, np.ones(24, bool)
    assert sides(ring(full), all_good) == []
    bad = all_good & ~((full >= 90.0) & (full < 135.0))
    assert sides(ring(full), bad) == ["from a quarter to half a turn there are 3 good photos; 6 or more are needed"]
    bad = all_good & ~((full >= 270.0) & (full < 345.0))
    assert sides(ring(full), bad) == ["from three quarters back to the first there is 1 good photo; 6 or more are needed"]
    half = np.arange(13) * 15.0
    said = sides(ring(half, closed=False), np.ones(13, bool))
    assert said == ["the photos go round by about 180 degrees and don't meet their beginning again"]
    assert sides(ring(np.arange(13) * 4.0, closed=False), np.ones(13, bool)) == [], "48 degrees are no round"
    assert sides(ring(full, known=False), ~all_good) == []
    two = ring(np.tile(np.arange(12) * 30.0, 2), run=np.repeat([0, 1], 12))
    assert [words.split(":")[0] for words in sides(two, all_good)][-1] == "Run 2 (from photo 13)"


def test_a_wide_step_and_a_photo_that_is_alone_are_reported() -> None:
    found = ring(np.arange(8) * 15.0)
    far = dataclasses.replace(found.pairs[0], matches=3)
    wide = dataclasses.replace(found.pairs[0], matches=40, turn=40.0)
    pairs = [*found.pairs]
    pairs[1] = far
    reported = going_round.remarks(dataclasses.replace(found, pairs=tuple(pairs)), NAMES[:8])
    assert [[remark.kind for remark in said] for said in reported] == [[], ["apart"], [], [], [], [], [], []]
    pairs[2] = far
    reported = going_round.remarks(dataclasses.replace(found, pairs=tuple(pairs)), NAMES[:8])
    assert [[remark.kind for remark in said] for said in reported] == [[], [], ["alone"], [], [], [], [], []]
    pairs[1] = pairs[2] = wide
    reported = going_round.remarks(dataclasses.replace(found, pairs=tuple(pairs)), NAMES[:8])
    assert [bool(said) for said in reported] == [False, True, True, False, False, False, False, False]
    assert "about 40 degrees" in reported[1][0].words
    assert going_round.remarks(dataclasses.replace(found, known=False, pairs=tuple(pairs)), NAMES[:8]) == [[]] * 8


def test_a_direction_needs_edges_enough() -> None:
    few = sharpness.sharpness(edges(2.0, count=19, angle=np.full(19, 0.0)))
    enough = sharpness.sharpness(edges(2.0, count=20, angle=np.full(20, 0.0)))
    assert np.isnan(few.ways).all() and len(few.ways) == WAYS
    assert np.flatnonzero(np.isfinite(enough.ways)).tolist() == [0, 1, 11], "within 22.5 degrees, also across 180"
    assert enough.lean == pytest.approx(1.0) and abs(sharpness.sharpness(edges(2.0)).lean) < 1e-9


def test_of_many_edges_the_steepest_of_each_field_are_measured_first() -> None:
    """Nine tenths of the edges lie in one field of 16 x 16, and are the steepest: every other field keeps its steepest too."""
    rng = np.random.default_rng(3)
    many = 3 * MOST_EDGES
    x, y = rng.integers(0, 1600, many), rng.integers(0, 1600, many)
    crowd = rng.random(many) < 0.9
    x[crowd], y[crowd] = x[crowd] % 100, y[crowd] % 100
    slope = rng.random(many) + 5.0 * crowd
    chosen = _evenly_chosen(x, y, slope, (1600, 1600))
    assert len(chosen) == len(set(chosen.tolist())) == MOST_EDGES
    field = (y // 100) * 16 + x // 100
    for number in np.unique(field):
        inside = np.flatnonzero(field == number)
        assert inside[slope[inside].argmax()] in chosen
