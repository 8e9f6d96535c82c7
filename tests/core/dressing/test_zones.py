"""Does each piece of a series get parts of the picture of its own, so that no two look composed alike?"""

from __future__ import annotations

from collections import Counter
from itertools import combinations

import numpy as np
import pytest

from blender_addon.core.dressing.compose import Bench, Thing, compose, spread_points
from blender_addon.core.dressing.trades import TRADES, Largest, draw
from blender_addon.core.dressing.zones import ANYWHERE, CELLS, COUNT, HINDMOST, LINE, Zones
from blender_addon.core.mesh.solids import rounded_rectangle, slab
from blender_addon.core.shots.sight import ShotView


def _zones(number: int) -> Zones:
    return Zones(number, -0.3, 0.3)


def test_any_two_pieces_of_thirteen_own_one_zone_in_common() -> None:
    """A perfect difference set: each difference but 0 comes once (Singer 1938: {0, 1, 3, 9} modulo 13)."""
    assert sorted((a - b) % COUNT for a in LINE for b in LINE if a != b) == list(range(1, COUNT))
    for first, other in combinations(range(COUNT), 2):
        assert len(set(_zones(first).owned) & set(_zones(other).owned)) == 1


def test_each_piece_but_the_first_has_one_zone_at_the_back_and_none_has_all_on_one_side() -> None:
    """Two lines of a projective plane meet in one point: the hindmost zones are a line."""
    backs = [sum(CELLS[zone] != ANYWHERE and CELLS[zone][0] == HINDMOST for zone in _zones(n).owned) for n in range(COUNT)]
    assert backs == [4] + 12 * [1]
    assert sorted(set(CELLS)) == sorted({ANYWHERE, *((r, s, c) for r in range(3) for s in (0, 1) for c in (0, 1))})
    for number in range(COUNT):
        sides = {CELLS[zone][1] for zone in _zones(number).owned if CELLS[zone] != ANYWHERE}
        assert sides == {0, 1}


def test_a_place_lies_in_its_zone_and_what_lies_elsewhere_is_foreign() -> None:
    rng = np.random.default_rng(4)
    for number in range(COUNT):
        zones = _zones(number)
        mine = [zone for zone in zones.owned if CELLS[zone] != ANYWHERE]
        assert zones.foreign(np.array([zones.place(zone, rng) for zone in mine for _ in range(20)])) == 0.0
        whole = np.array([zones.place(zone, rng, whole=True) for zone in mine for _ in range(60)])
        assert 0.2 < zones.foreign(whole) < 0.5  # half of what lies in three quarters of four: 0.375
        others = [zone for zone in range(COUNT) if zone not in zones.owned and CELLS[zone] != ANYWHERE]
        theirs = [_zones((zone - LINE[0]) % COUNT).place(zone, rng) for zone in others for _ in range(20)]
        assert zones.foreign(np.array(theirs)) == pytest.approx(1.0)
        out = np.full((300, 2), 3.0)  # what lies out of the picture says nothing
        assert zones.foreign(np.concatenate([np.array(theirs), out])) == pytest.approx(1.0) and zones.foreign(out) == 0.0


def test_the_four_pieces_that_own_a_zone_lay_things_in_different_quarters_of_it() -> None:
    rng = np.random.default_rng(8)
    for zone in (zone for zone in range(COUNT) if CELLS[zone] != ANYWHERE):
        boxes = []
        for step in LINE:
            places = np.array([_zones((zone - step) % COUNT).place(zone, rng) for _ in range(20)])
            boxes.append((places.min(axis=0), places.max(axis=0)))
        for (low, high), (other_low, other_high) in combinations(boxes, 2):
            assert ((low > other_high) | (other_low > high)).any()


def test_beside_a_lying_animal_the_front_row_begins_at_its_paws_and_beside_a_narrow_piece_at_its_widest() -> None:
    """An outline 0.74 half frames wide at the back that is 0.2 wide at the front, as a hound's that lies along the view."""
    rotation = np.column_stack([[1.0, 0.0, 0.0], [0.0, 0.342, 0.9397], [0.0, -0.9397, 0.342]])
    shape = np.array([[-0.2, -0.7], [0.2, -0.7], [0.74, 0.1], [0.6, 0.7], [-0.6, 0.7], [-0.74, 0.1]])

    def begins(scale: float) -> np.ndarray:
        outline = shape * [scale, 1.0] * [0.16, 0.105]
        place = 400.0 * rotation[:, 2]
        hero = ShotView("hero", "hero", place, rotation, (0.16, 0.105), 400.0, 390.0, 410.0, 5.0, outline, 380.0, 420.0)
        return Zones.of(hero, 4)._begins()

    wide, narrow = begins(1.0), begins(0.5)
    assert 0.45 <= wide[0].max() < 0.6 and wide[1].min() > wide[0].max() + 0.05
    assert wide[2] == pytest.approx([0.74, 0.74], abs=0.01) and narrow == pytest.approx(np.full((3, 2), 0.37), abs=0.01)


def test_tall_things_stand_at_the_back_and_flat_ones_leave_them_room() -> None:
    for number in range(1, COUNT):
        dealt = _zones(number).dealt([False, False, True, False])
        tall = dealt[2]
        assert tall is not None and CELLS[tall][0] == HINDMOST
        assert len(set(dealt)) == min(4, sum(CELLS[zone] != ANYWHERE for zone in _zones(number).owned))


def test_drawn_props_leave_most_of_the_frame_to_the_table() -> None:
    """Six tiles would cover more than 4 % of the frame: some are left away, and without a limit none is."""
    outline = np.array([[-0.05, -0.1], [0.05, -0.1], [0.05, 0.1], [-0.05, 0.1]])
    up, back = np.array([0.0, 0.3420, 0.9397]), np.array([0.0, -0.9397, 0.3420])  # 20 degrees from above
    rotation = np.column_stack([[1.0, 0.0, 0.0], up, back])
    place = 400.0 * back + [0.0, 0.0, 30.0]
    hero = ShotView("hero", "hero", place, rotation, (0.3, 0.2), 400.0, 390.0, 410.0, 5.0, outline, 380.0, 420.0)
    tile = slab(rounded_rectangle(36.0, 24.0, 3.0, 4), 5.0)
    things = [Thing("tile", spread_points(tile.vertices, tile.faces), False)] * 6
    bench = Bench(lambda xy: np.linalg.norm(xy, axis=1) - 20.0, 20.0, np.array([400.0, 400.0]))
    laid = [sum(spot is not None for spot in compose(things, [hero], bench, seed=5, most=most)) for most in (0.04, np.inf)]
    assert 1 <= laid[0] < laid[1]


@pytest.mark.parametrize("key", TRADES)
def test_props_that_lay_together_seldom_do_so_again(key: str) -> None:
    """Of twelve pieces each prop comes at most four times, and two of three pairs have no more in common than props drawn by
    chance would (count squared over the trade's props, on average)."""
    trade = TRADES[key]
    count = min(4, len(trade.props()) // 3)
    for deck in (1, 2, 3):
        dealt = [set(draw(trade, count, Largest(100.0), place=place, deck=deck)) for place in range(1, 13)]
        common = np.array([len(a & b) for a, b in combinations(dealt, 2)])
        assert common.mean() <= count**2 / len(trade.props()) + 0.05 and (common < count).mean() > 0.96
        assert max(Counter(name for names in dealt for name in names).values()) <= 4


def test_nothing_larger_than_suits_the_piece_is_drawn() -> None:
    from blender_addon.core.dressing.trades import size_of

    for place in range(1, 13):
        names = draw(TRADES["potter"], 4, Largest(60.0, 2600.0), place=place)
        assert 2 <= len(names) <= 4 and all(size_of(name, seed=place)[1] <= 2600.0 for name in names)


def test_a_long_tool_suits_a_tiny_piece_since_only_its_end_shows() -> None:
    """Beside 18 by 20 mm: without the frame's width nothing was drawn for three pieces of four."""
    found = [draw(TRADES["potter"], 4, Largest(14.0, 540.0, 45.0), place=place) for place in range(1, 13)]
    bare = [draw(TRADES["potter"], 4, Largest(14.0, 540.0), place=place) for place in range(1, 13)]
    assert sum(map(len, found)) > 2 * sum(map(len, bare)) and sum(len(names) >= 2 for names in found) >= 9


def test_a_prop_comes_at_most_four_times_whatever_suits_the_pieces() -> None:
    """Of a dozen of very different sizes, many props too large for some of them."""
    rng = np.random.default_rng(2)
    for deck in range(1, 6):
        seen: Counter[str] = Counter()
        for place in range(1, 13):
            high = rng.uniform(50.0, 300.0)
            seen.update(draw(TRADES["potter"], 4, Largest(0.7 * high, 0.6 * high**2), place=place, deck=deck))
        assert max(seen.values()) <= 4
