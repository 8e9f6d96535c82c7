"""Which parts of the picture are a piece's own to lay props in, so that no two pieces of a series look composed alike?

Beside and behind the subject the table is divided into twelve zones: two columns to each side (near the outline, out at the
frame's edge) in three rows; the thirteenth is anywhere. Each piece owns four of them, its number in the series added to
`LINE`: a perfect difference set (Singer, "A theorem in finite projective geometry and some applications to number theory",
Trans. AMS 43, 1938), so that any two pieces of thirteen neighbours own one in common and no more. The four pieces that own a
zone have a quarter of it each. The four zones of the hindmost row are such a set themselves: every other piece owns just one
of them, in which its tall things stand.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import Floats, Ints
from ..records import record
from ..shots.sight import ShotView

LINE, COUNT = (0, 1, 3, 9), 13

ROWS = (-0.60, -0.27, 0.05)
"""Heights of the rows' middles, from the front to the back, in half frames. Set by eye."""

JITTER = 0.15
"""How far above or below a row's middle a thing may lie, in half frames."""

COLUMNS = ((0.2, 0.5), (0.6, 1.0))
"""From where to where the middles of things lie in a column, of the way from the outline to the frame's edge. Set by eye."""

HINDMOST, ANYWHERE = len(ROWS) - 1, (-1, -1, -1)
"""The row of tall things; the zone that is anywhere."""

CELLS: tuple[tuple[int, int, int], ...] = (
    (2, 0, 1), (2, 1, 0), (0, 1, 1), (2, 0, 0), (1, 1, 1), ANYWHERE, (0, 0, 1), (1, 1, 0), (1, 0, 1), (2, 1, 1), (0, 0, 0),
    (0, 1, 0), (1, 0, 0),
)  # fmt: skip
"""What a zone's number stands for: its row, its side (0 left, 1 right), its column (0 near the outline, 1 at the edge). Of many
orders this one gives the fewest pieces all four zones on one side."""

USUAL = tuple(number for number, cell in enumerate(CELLS) if cell != ANYWHERE)
"""The numbers of the zones that are somewhere."""

WIDE, BAND = 0.45, 0.25
"""Half width of an outline, in half frames, up to which a zone begins at its widest place; beside a wider one it begins where
the outline is in the band of so many half frames above and below the row: a lying animal leaves room at its paws. By eye."""

OUTERMOST = 0.97
"""Where the middle of a thing at the frame's edge lies at most, in half frames."""


def _is_hindmost(zone: int) -> bool:
    return CELLS[zone] != ANYWHERE and CELLS[zone][0] == HINDMOST


@record
class Zones:
    """The zones of a view that belong to the piece with a number: left and right are the edges of its outline, in half
    frames; edges: (rows, 2) how far from the middle its zones begin in each row, left and right, where that differs."""

    number: int
    left: float
    right: float
    edges: tuple[tuple[float, float], ...] = ()

    @classmethod
    def of(cls, view: ShotView, number: int) -> Zones:
        """Those of a view in which the subject's outline is known."""
        outline = view.outline / np.array(view.half_slopes)
        left, right = max(float(outline[:, 0].min()), -0.8), min(float(outline[:, 0].max()), 0.8)
        return cls(number, left, right, tuple(_edges_at(outline, row, left, right) for row in ROWS))

    @property
    def owned(self) -> list[int]:
        """Numbers of the piece's zones, those beside the subject first."""
        return sorted(((self.number + step) % COUNT for step in LINE), key=_is_hindmost)

    def dealt(self, tall: Sequence[bool]) -> list[int]:
        """A zone for each thing, by whether it stands tall: those to the back, flat ones beside the subject and in what is
        left; where all are taken, those beside the subject again."""
        usual = [zone for zone in self.owned if CELLS[zone] != ANYWHERE]
        left, again = list(usual), 0
        found: list[int] = []
        for number, stands in enumerate(tall):
            fit = [zone for zone in left if _is_hindmost(zone) is stands]
            later = sum(tall[number + 1 :])
            spare = [zone for zone in left if not stands and _is_hindmost(zone)][later:]
            zone = next(iter([*fit, *spare]), None)
            if zone is None:
                like = [zone for zone in usual if _is_hindmost(zone) is stands] or usual
                zone, again = like[again % len(like)], again + 1
            else:
                left.remove(zone)
            found.append(zone)
        return found

    def place(self, zone: int, rng: np.random.Generator, *, whole: bool = False) -> Floats:
        """(2,) a place in the piece's quarter of a zone, or in the whole of it, in half frames."""
        row, side, column = CELLS[zone]
        edge = self._begins()[row, side]
        near, far = COLUMNS[column]
        above, out = rng.integers(2, size=2) if whole else self._quarter(zone)
        share = near + 0.5 * (out + rng.random()) * (far - near)
        across = min(edge + share * (1.0 - edge), OUTERMOST)
        return np.array([across if side else -across, ROWS[row] + (above - 1.0 + rng.random()) * JITTER])

    def foreign(self, frame: Floats) -> float:
        """How far those of the points (n, 2), in half frames, that the picture shows lie in what belongs to other pieces, 0 to
        1: half of each counts in the piece's own zones but outside its quarters of them, all of it elsewhere."""
        others = np.ones((len(ROWS), 2, 2, 2, 2))
        for zone in self.owned:
            if CELLS[zone] != ANYWHERE:
                others[CELLS[zone]] = 0.5
                others[(*CELLS[zone], *self._quarter(zone))] = 0.0
        seen = (np.abs(frame) < 1.0).all(axis=1)
        return float(others[self._cells(frame[seen])].mean()) if seen.any() else 0.0

    def _quarter(self, zone: int) -> tuple[int, int]:
        """Which quarter of a zone is the piece's: 0 below or 1 above the row's middle, 0 near the outline or 1 farther out."""
        above, out = divmod(LINE.index((zone - self.number) % COUNT), 2)
        return above, out

    def _begins(self) -> Floats:
        """(rows, 2) how far from the middle the zones of each row begin, left and right."""
        return np.array(self.edges or [(-self.left, self.right)] * len(ROWS))

    def _cells(self, frame: Floats) -> tuple[Ints, Ints, Ints, Ints, Ints]:
        """Row, side and column of points (n, 2), and their quarter as by `_quarter`."""
        middle = 0.5 * (self.left + self.right)
        side = (frame[:, 0] > middle).astype(int)
        between = 0.5 * (np.array(ROWS[1:]) + np.array(ROWS[:-1]))
        row = np.searchsorted(between, frame[:, 1])
        edge = self._begins()[row, side]
        share = (np.abs(frame[:, 0]) - edge) / (1.0 - edge)
        column = (share > 0.5).astype(int)
        above = (frame[:, 1] > np.array(ROWS)[row]).astype(int)
        out = (share > np.array(COLUMNS).mean(axis=1)[column]).astype(int)
        return row, side, column, above, out


def _edges_at(outline: Floats, row: float, left: float, right: float) -> tuple[float, float]:
    """How far from the middle the zones of a row begin beside a convex outline (n, 2), as wide as `left` and `right`."""
    along = np.linspace(0.0, 1.0, 20, endpoint=False)[:, None, None]
    ring = (outline + along * (np.roll(outline, -1, axis=0) - outline)).reshape(-1, 2)
    there = ring[np.abs(ring[:, 1] - row) < BAND, 0]
    least = min(WIDE, -left), min(WIDE, right)
    if not len(there):
        return least
    return max(least[0], min(-left, -float(there.min()))), max(least[1], min(right, float(there.max())))
