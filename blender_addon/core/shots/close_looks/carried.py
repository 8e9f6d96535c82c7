"""How near may a lens go before the data run out? The magnification that the finest detail supports; looks at close-ups."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...arrays import Floats
from ...records import record
from .choosing import Proposal
from .detail_spots import CloseLook

SURE = 0.95
"""Chance that a place of which the maker took close-ups is the one to show, since they chose it."""
MARGIN = 0.9
"""Share of the frame's shorter side that the close-up fills: its fading border stays outside the middle."""


@record
class CloseupPlace:
    """Where close-ups lie: middle (3,) mm, outward unit normal (3,), radius in mm of what they cover, finest detail in mm."""

    middle: Floats
    normal: Floats
    radius: float
    finest: float


def carried(finest_mm: float, coc_mm: float) -> float:
    """The magnification up to which detail with a shortest wavelength of `finest_mm` looks sharp.

    Half a wavelength, the finest line, is then drawn as wide as the circle of confusion `coc_mm`, the blur that still counts as
    sharp: m = 2 c / finest. With the 0.029 mm of full frame that is 1:1 for 0.058 mm and 1:4 for 0.23 mm.
    """
    return 2.0 * coc_mm / max(finest_mm, 1e-6)


def as_ratio(magnification: float) -> str:
    """'1:4' for 0.25, '2:1' for 2."""
    return (
        f"{magnification:.1f}:1".replace(".0:", ":") if magnification >= 1 else f"1:{1 / magnification:.1f}".removesuffix(".0")
    )


def at_closeups(places: Sequence[CloseupPlace], frame_mm: tuple[float, float], coc_mm: float, usual: float) -> list[Proposal]:
    """Close looks at the places, the largest first, as near as their data allow, but no further away than any close look is nor
    than fills the frame with the close-up.

    usual: the magnification of any close look, to which `grown` is relative. frame_mm: width and height of the frame on the
    sensor.
    """
    found = []
    for place in sorted(places, key=lambda candidate: -candidate.radius):
        filling = MARGIN * min(frame_mm) / (2.0 * max(place.radius, 1e-3))
        wanted = min(filling, max(carried(place.finest, coc_mm), usual))
        azimuth = float(np.degrees(np.arctan2(place.normal[0], -place.normal[1])))
        tilt = float(np.clip(np.degrees(np.arcsin(np.clip(place.normal[2], -1, 1))), -15.0, 85.0))
        found.append(Proposal("closeup", CloseLook(place.middle, azimuth, tilt, (0.0, 0.0), wanted / usual), SURE))
    return found
