"""Does each side of a piece show as much relief as the one across? The side that the light of the scan missed shows less."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...records import record


@record
class BalanceConstants:
    """Numbers of comparing the sides."""

    even: tuple[float, float] = (0.8, 1.25)
    """Ratios of one side's mean square slope to the other's between which they count as even. Set by eye."""
    towards: float = 0.5
    """How far a normal must point to a side to belong to it: within 60 degrees."""
    least: int = 200
    """Texels a side must have to be judged (a guess)."""


BALANCE = BalanceConstants()


SIDES = (("left", "right", 0), ("front", "back", 1))
"""Names of the sides across each other, as one looks at the front from -Y, and the axis; the first lies at its negative end."""


def side_ratios(normals: Floats, slopes: Floats) -> dict[tuple[str, str], float]:
    """Mean square slope of left over right and of front over back, where both sides have texels enough and any relief.

    normals: (n, 3) of the smooth form, slopes: (n, 2 or 3) of the relief on it, a texel each.
    """
    energy = (np.asarray(slopes, float) ** 2).sum(axis=1)
    found = {}
    for side, other, axis in SIDES:
        here, there = normals[:, axis] < -BALANCE.towards, normals[:, axis] > BALANCE.towards
        if min(here.sum(), there.sum()) < BALANCE.least:
            continue
        across = float(energy[there].mean())
        if across > 0.0:
            found[side, other] = float(energy[here].mean()) / across
    return found


def remarks(ratios: dict[tuple[str, str], float]) -> list[str]:
    """A sentence for each pair of sides that is uneven."""
    words = []
    for (side, other), ratio in ratios.items():
        if not BALANCE.even[0] <= ratio <= BALANCE.even[1]:
            less, more, share = (side, other, ratio) if ratio < 1.0 else (other, side, 1.0 / ratio)
            words.append(
                f"The relief read on the {less} is {100.0 * share:.0f} % as strong as that on the {more} (mean square of its "
                f"slopes): the piece may be so, or the scan's light missed that side; Paint the relief can strengthen it"
            )
    return words
