"""Do neighbours in a series share no places of their props, and is a piece dressed alone as in its series?"""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
import pytest

from blender_addon.core.arrays import Bools
from blender_addon.core.dressing import compose as module
from blender_addon.core.dressing import presence
from blender_addon.core.dressing.compose import ALONE, SCATTER, Bench, Thing, _Stance, compose, spread_points
from blender_addon.core.dressing.presence import Frame, filled
from blender_addon.core.dressing.zones import Zones
from blender_addon.core.mesh.solids import rounded_rectangle, slab
from blender_addon.core.shots.framing import look, project
from blender_addon.core.shots.sight import ShotView, convex_outline

ROWS, COLUMNS = 60, 90
BENCH = Bench(lambda xy: np.linalg.norm(xy, axis=1) - 25.0, 25.0, np.array([500.0, 420.0]))
THINGS = [
    Thing(name, spread_points(mesh.vertices, mesh.faces, count=600), tall)
    for name, mesh, tall in (
        ("pot", slab(rounded_rectangle(44.0, 40.0, 12.0, 6), 30.0), True),
        ("lath", slab(rounded_rectangle(150.0, 20.0, 3.0, 4), 6.0), False),
        ("tool", slab(rounded_rectangle(130.0, 9.0, 3.0, 4), 8.0), False),
        ("rib", slab(rounded_rectangle(80.0, 34.0, 12.0, 5), 4.0), False),
    )
]


def _hero(half_width: float) -> ShotView:
    """A hero from 12 degrees above, 550 mm away; half_width: of the piece, in half frames."""
    rotation = look(0.0, 12.0)
    x, y = 0.17 * half_width, 0.113
    outline = np.array([[-x, -0.67 * y], [x, -0.67 * y], [x, 0.73 * y], [-x, 0.73 * y]])
    place = 550.0 * rotation[:, 2] + [0.0, 0.0, 40.0]
    return ShotView("hero", "hero", place, rotation, (0.17, y), 550.0, 540.0, 560.0, 8.0, outline, 525.0, 575.0)


def _mask(number: int, hero: ShotView) -> Bools:
    """(ROWS, COLUMNS) where the picture shows props of the piece with a number: the convex outlines of them."""
    mask = np.zeros((ROWS, COLUMNS), bool)
    across, up = np.meshgrid((np.arange(COLUMNS) + 0.5) / COLUMNS * 2.0 - 1.0, 1.0 - (np.arange(ROWS) + 0.5) / ROWS * 2.0)
    cells = np.column_stack([across.ravel(), up.ravel()])
    for thing, spot in zip(THINGS, compose(THINGS, [hero], BENCH, seed=number, most=0.065), strict=True):
        if spot is None:
            continue
        c, s = np.cos(spot.turn), np.sin(spot.turn)
        placed = thing.points @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]) + [*spot.place, 0.0]
        slopes, _ = project(placed, hero.position, hero.rotation)
        ring = convex_outline(slopes / np.array(hero.half_slopes))
        edge = np.roll(ring, -1, axis=0) - ring
        x, y = (cells[:, k, None] - ring[:, k] for k in (0, 1))
        mask |= (edge[:, 0] * y >= edge[:, 1] * x).all(axis=1).reshape(mask.shape)
    return mask


def _pairs(masks: list[Bools]) -> list[float]:
    """Intersection over union of each two masks."""
    return [float((a & b).sum() / max(int((a | b).sum()), 1)) for a, b in combinations(masks, 2)]


@pytest.mark.parametrize("half_width", [0.2, 0.5], ids=["narrow", "wide"])
def test_neighbours_in_a_series_share_few_places(half_width: float, monkeypatch: pytest.MonkeyPatch) -> None:
    """Twelve pieces of one form with the very same four props, the hardest case: without zones and with all things lying
    alike, as if the number said nothing of the places, two pieces share more."""
    shared = _pairs([_mask(number, _hero(half_width)) for number in range(1, 13)])
    monkeypatch.setattr(presence, "FOREIGN", 0.0)
    monkeypatch.setattr(module, "STRANGE", 1.0)
    monkeypatch.setattr(module, "LIE_STEP", 0)
    monkeypatch.setattr(Zones, "of", classmethod(lambda cls, view, number: _first(view)))
    alike = _pairs([_mask(number, _hero(half_width)) for number in range(1, 13)])
    most, most_alike = (np.quantile(values, 0.95) for values in (shared, alike))  # the largest of 66 is a single pair
    assert np.mean(shared) < 0.8 * np.mean(alike) and most < 0.9 * most_alike


_zones_of = Zones.of


def _first(view: ShotView) -> Zones:
    """The zones of the first piece, for every piece."""
    return _zones_of(view, 1)


def test_things_of_neighbours_lie_across_each_other() -> None:
    """A long tool in the place of another then shares little with it."""
    hero = _hero(0.3)
    frame = Frame(hero, None, 1.0, 1.0)
    angles = [_Stance.of(frame, BENCH, number).lie for number in range(1, 40)]
    for first, other in pairwise(angles):
        between = abs(first - other) % np.pi
        assert min(between, np.pi - between) > 2.0 * SCATTER


def test_a_piece_alone_is_dressed_as_in_its_series() -> None:
    """The places follow from the number: what else was composed before changes nothing."""
    hero = _hero(0.3)
    alone = compose(THINGS, [hero], BENCH, seed=1007)
    for number in (1001, 1004, 1012):
        compose(THINGS, [hero], BENCH, seed=number)
    again = compose(THINGS, [hero], BENCH, seed=1007)
    for first, other in zip(alone, again, strict=True):
        assert (first is None) == (other is None)
        if first is not None and other is not None:
            assert np.array_equal(first.place, other.place) and first.turn == other.turn


def test_no_prop_covers_more_of_the_picture_than_is_allowed() -> None:
    hero = _hero(0.3)
    big = slab(rounded_rectangle(110.0, 90.0, 12.0, 6), 12.0)
    thing = Thing("tile", spread_points(big.vertices, big.faces), False)
    for number in range(1, 7):
        spot = compose([thing], [hero], BENCH, seed=number, most=0.065)[0]
        if spot is None:
            continue
        c, s = np.cos(spot.turn), np.sin(spot.turn)
        placed = thing.points @ np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]]) + [*spot.place, 0.0]
        slopes, _ = project(placed, hero.position, hero.rotation)
        frame = slopes / np.array(hero.half_slopes)
        framed = frame[(np.abs(frame) < 1.0).all(axis=1)]
        assert len(framed) < 3 or filled(framed) / 4.0 <= ALONE * 0.065 + 1e-9
