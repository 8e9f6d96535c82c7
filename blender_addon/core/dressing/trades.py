"""Whose bench is it? Props, tabletop, debris and light that belong together, by trade; chosen by the material unless said.

What lies on whose bench is common practice, from memory of workshops; which props belong to a trade is said in their own files.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from ..surface.kinds import KINDS
from .props import PropKind, digest, kinds


@dataclass(frozen=True)
class Trade:
    """A trade's bench.

    key, label, words: as on the sheet, on screen, and in one sentence.
    table: the tabletop that a picture of such work usually has ('planks', 'slate', 'cloth', 'sweep', 'bat').
    debris: what falls off the work ('clay', 'wood', 'stone'), or None where a finished piece is shown on a swept table.
    always: props that belong to the work itself.
    """

    key: str
    label: str
    words: str
    table: str
    debris: str | None
    always: tuple[str, ...] = ()

    def props(self) -> tuple[PropKind, ...]:
        """The kinds of props that lie on such a bench, by name."""
        return tuple(kind for kind in kinds().values() if self.key in kind.trades)


TRADES = {
    trade.key: trade
    for trade in (
        Trade("potter", "Potter", "Modelling and throwing tools, a sponge, clay", "planks", "clay", ("lump",)),
        Trade("carver", "Carver", "Gouges, a mallet, callipers, offcuts", "planks", "wood", ("wood block",)),
        Trade("founder", "Founder", "Wax and the tools for it, rifflers", "planks", None, ("wax rods",)),
        Trade("painter", "Painter of miniatures", "Fine brushes, a tile with paint, corks", "planks", None),
        Trade("plaster", "Plaster worker", "A mixing bowl, spatulas, pieces of a mould", "planks", None, ("plaster piece",)),
        Trade("conservator", "Conservator's bench", "Swabs, a soft brush, a scale card", "cloth", None),
    )
}


def trade_of(material: str, wish: str | None = None) -> Trade:
    """The trade by its key, or by the material of the piece ('clay', 'bronze', ...); an unknown material is a conservator's."""
    return TRADES[wish or (KINDS[material].trade if material in KINDS else "conservator")]


def debris_of(material: str, state: str = "") -> str | None:
    """What falls off a piece of this material in this state ('clay' in the state 'fired' leaves nothing), or None."""
    return KINDS[material].debris if material in KINDS and state != "fired" else None


def draw(trade: Trade, count: int, *, seed: int, tallest_mm: float) -> list[str]:
    """Names of `count` props from a trade's bench, those that stand tall first, drawn by the seed.

    tallest_mm: what stands taller than this is left out, so that nothing outgrows the piece. A vessel is drawn for every third
    prop at most; what belongs to the work comes always.
    """
    rng = np.random.default_rng([seed, digest(trade.key), 701])
    pool = [kind for kind in trade.props() if kind.name not in trade.always]
    drawn = [pool[place] for place in rng.permutation(len(pool))]
    fitting = [kind for kind in drawn if height_of(kind.name, seed=seed) <= tallest_mm]
    vessels = [kind.name for kind in fitting if kind.vessel][: max(1, count // 3)]
    others = [kind.name for kind in fitting if not kind.vessel]
    own = [name for name in trade.always if height_of(name, seed=seed) <= tallest_mm]
    return [*vessels, *own, *others][:count]


def height_of(name: str, *, seed: int) -> float:
    """Height in mm of the individual of a prop that this seed gives."""
    points = kinds()[name].make(np.random.default_rng([seed, digest(name), 401])).mesh.vertices
    return float(np.ptp(points[:, 2]))


def choices() -> Sequence[tuple[str, str, str]]:
    """(key, label, words) of all trades, as a setting offers them."""
    return tuple((trade.key, trade.label, trade.words) for trade in TRADES.values())
