"""Whose bench is it? Props, tabletop and debris that belong together, by trade; chosen by material unless set.

What lies on whose bench is common practice, from memory of workshops; which props belong to a trade is said in their own files.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from ..records import record
from ..surface.kinds import KINDS
from .compose import END, LONG
from .props import PropKind, digest, kinds


@record
class Trade:
    """A trade's bench.

    key, label, words: as on the sheet, on screen, and in one sentence.
    table: the tabletop that a picture of such work usually has ('planks', 'slate', 'cloth', 'sweep', 'bat').
    debris: what falls off the work ('clay', 'wood', 'stone'), or None where a finished piece is shown on a clean table.
    """

    key: str
    label: str
    words: str
    table: str
    debris: str | None

    def props(self) -> tuple[PropKind, ...]:
        """The kinds of props that lie on such a bench, by name."""
        return tuple(kind for kind in kinds().values() if self.key in kind.trades)


TRADES = {
    trade.key: trade
    for trade in (
        Trade("potter", "Potter", "Modelling and throwing tools, a sponge, clay", "planks", "clay"),
        Trade("carver", "Carver", "Gouges, a mallet, callipers, offcuts", "planks", "wood"),
        Trade("founder", "Founder", "Wax and the tools for it, rifflers", "planks", None),
        Trade("painter", "Painter of miniatures", "Fine brushes, a tile with paint, corks", "planks", None),
        Trade("plaster", "Plaster worker", "A mixing bowl, spatulas, pieces of a mould", "planks", None),
        Trade("conservator", "Conservator's bench", "Swabs, a soft brush, a scale card", "cloth", None),
    )
}


def trade_of(material: str, wish: str | None = None) -> Trade:
    """The trade by its key, or by the material of the piece ('clay', 'bronze', ...); an unknown material is a conservator's."""
    return TRADES[wish or (KINDS[material].trade if material in KINDS else "conservator")]


def debris_of(material: str, state: str = "") -> str | None:
    """What falls off a piece of this material in this state ('clay' in the state 'fired' leaves nothing), or None."""
    return KINDS[material].debris if material in KINDS and state != "fired" else None


def works(key: str) -> bool:
    """Whether work at the bench of a trade leaves debris; true also where the trade is not known."""
    return key not in TRADES or TRADES[key].debris is not None


DOZEN = 12
"""Pieces that are counted together: among so many a prop shall not come back too often."""

SHOWN = 4
"""How many pieces of a dozen show the same prop at most, where the trade has enough of them. Set by eye."""


@record
class Largest:
    """How large props beside a piece may be: their height in mm, what area in mm2 a hero shows of one, and the width of the
    picture at the piece, mm: of what is much longer only an end shows (`compose.END`)."""

    tallest_mm: float
    largest_mm2: float = np.inf
    frame_mm: float = np.inf


def draw(trade: Trade, count: int, largest: Largest, *, place: int, deck: int = 1, reserve: int = 0) -> list[str]:
    """Names of `count` props, or a few less, from a trade's bench for the piece with the number `place`, vessels first; after
    them up to `reserve` others, for what finds no place.

    The trade's props lie in `count` columns, vessels in the first; `deck` is the seed of their shuffle. Consecutive pieces get
    the rows; when all were dealt, each column has moved on by its own number of rows, so that props that lay together once do
    so again as late as can be. For what is taller or larger than suits the piece another is taken, one that is spare at this
    place: each prop is so often that the dozen shows it `SHOWN` times at most, whatever suits its pieces, or once more than the
    trade's number of props asks for. Of every three props at most one is a vessel.
    """
    if count < 1:
        return []
    pool = trade.props()
    seeds = (deck, digest(trade.key), 701)
    most = max(1, count // 3)
    found: list[PropKind] = []
    for kind in (*_dealt(pool, count, place, seeds), *_spare(pool, count, place, seeds)):
        room = len(found) < count + reserve and kind not in found and (not kind.vessel or sum(k.vessel for k in found) < most)
        if room and fits(kind.name, place, largest):
            found.append(kind)
    return [kind.name for kind in (*sorted(found[:count], key=lambda kind: not kind.vessel), *found[count:])]


def _dealt(pool: Sequence[PropKind], count: int, place: int, seeds: Sequence[int]) -> list[PropKind]:
    """The props that piece number `place` is dealt, whatever suits it, the vessels' column first."""
    rows = max(1, len(pool) // count)
    turn, row = divmod((place - 1) % 1_000_000, rows)  # a series counts from 1
    shuffled = [pool[number] for number in np.random.default_rng(seeds).permutation(len(pool))]
    cards = sorted(shuffled, key=lambda kind: not kind.vessel)
    again = np.random.default_rng([*seeds, turn // rows])  # after so many turns the rows would come back as they were
    columns = [again.permutation(column) for column in np.array_split(np.arange(len(cards)), count) if len(column)]
    return [cards[column[(row + turn * number) % len(column)]] for number, column in enumerate(columns)]


def _spare(pool: Sequence[PropKind], count: int, place: int, seeds: Sequence[int]) -> list[PropKind]:
    """The props that may be taken at `place` instead of what does not suit its piece: about as many at each."""
    dozen, within = divmod((place - 1) % 1_000_000, DOZEN)  # as in `_dealt`
    dealt = [_dealt(pool, count, dozen * DOZEN + other, seeds) for other in range(1, DOZEN + 1)]
    shown = max(SHOWN, 1 + math.ceil(DOZEN * count / max(len(pool), 1)))
    rng = np.random.default_rng([*seeds, dozen])
    spare: list[list[PropKind]] = [[] for _ in dealt]
    for number in rng.permutation(len(pool)):
        kind = pool[number]
        left = max(0, shown - sum(kind in props for props in dealt))
        others = [other for other in rng.permutation(DOZEN) if kind not in dealt[other]]
        for other in sorted(others, key=lambda other: len(spare[other]))[:left]:  # stable: by chance where there are as many
            spare[other].append(kind)
    return spare[within]


def fits(name: str, seed: int, largest: Largest) -> bool:
    """Whether the individual of a prop that this seed gives stands no taller and looks no larger than that."""
    height, area = size_of(name, seed=seed, frame_mm=largest.frame_mm)
    return height <= largest.tallest_mm and area <= largest.largest_mm2


FORESHORTENED = 0.35
"""How high what lies flat is in a picture, as a share of its depth: the sine of a hero's usual 20 degrees from above."""


def size_of(name: str, *, seed: int, frame_mm: float = np.inf) -> tuple[float, float]:
    """Height in mm, and about what area in mm2 a hero of that width shows, of the individual of a prop that this seed gives.

    The area is that of a box of its height, width and foreshortened depth, turned as it comes on average.
    """
    long, deep, high = _box(name, seed)
    if long > LONG * frame_mm:
        long = END * frame_mm
    wide = 2.0 / np.pi * (long + deep)  # mean width of a rectangle over all directions (Cauchy)
    return high, wide * high + FORESHORTENED * long * deep


@lru_cache(maxsize=4096)
def _box(name: str, seed: int) -> tuple[float, float, float]:
    """Length, depth and height in mm of the individual of a prop that this seed gives."""
    points = kinds()[name].make(np.random.default_rng([seed, digest(name), 401])).mesh.vertices
    along, across, high = (float(np.ptp(points[:, axis])) for axis in range(3))
    return max(along, across), min(along, across), high


def choices() -> Sequence[tuple[str, str, str]]:
    """(key, label, words) of all trades, as a setting offers them."""
    return tuple((trade.key, trade.label, trade.words) for trade in TRADES.values())
