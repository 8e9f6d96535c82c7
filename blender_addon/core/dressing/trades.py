"""Whose bench is it? Props, tabletop and debris that belong together, by trade; chosen by material unless set.

What lies on whose bench is common practice, from memory of workshops; which props belong to a trade is said in their own files.
"""

from __future__ import annotations

from collections.abc import Sequence
from functools import lru_cache

import numpy as np

from ..records import record
from ..surface.kinds import KINDS
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


def draw(trade: Trade, count: int, *, place: int, tallest_mm: float, deck: int = 1) -> list[str]:
    """Names of `count` props from a trade's bench for the piece with the number `place`, vessels first.

    They are dealt like cards: consecutive pieces get the next `count` of one shuffled deck (`deck` is the seed of the shuffle),
    so that in a series each prop appears as rarely as possible, in 12 pieces at most four times while `count` is a third of the
    trade's props or less. tallest_mm: taller props are passed over, so that none is taller than the piece. Of every three props
    at most one is a vessel.
    """
    rng = np.random.default_rng([deck, digest(trade.key), 701])
    pool = trade.props()
    shuffled = [pool[number] for number in rng.permutation(len(pool))]
    cards = _interleaved([kind for kind in shuffled if kind.vessel], [kind for kind in shuffled if not kind.vessel])
    first, most = count * place, max(1, count // 3)
    vessels: list[str] = []
    others: list[str] = []
    for number in range(len(cards)):
        kind = cards[(first + number) % len(cards)]
        into = vessels if kind.vessel else others
        if len(vessels) + len(others) < count and (into is others or len(into) < most) and fits(kind.name, place, tallest_mm):
            into.append(kind.name)
    return [*vessels, *others]


def _interleaved(few: Sequence[PropKind], many: Sequence[PropKind]) -> list[PropKind]:
    """The few dealt evenly among the many."""
    order = [((place + 0.5) / len(row), kind) for row in (few, many) for place, kind in enumerate(row)]
    return [kind for _, kind in sorted(order, key=lambda entry: entry[0])]


def fits(name: str, seed: int, tallest_mm: float) -> bool:
    """Whether the individual of a prop that this seed gives stands no taller than that."""
    return height_of(name, seed=seed) <= tallest_mm


@lru_cache(maxsize=4096)
def height_of(name: str, *, seed: int) -> float:
    """Height in mm of the individual of a prop that this seed gives."""
    points = kinds()[name].make(np.random.default_rng([seed, digest(name), 401])).mesh.vertices
    return float(np.ptp(points[:, 2]))


def choices() -> Sequence[tuple[str, str, str]]:
    """(key, label, words) of all trades, as a setting offers them."""
    return tuple((trade.key, trade.label, trade.words) for trade in TRADES.values())
