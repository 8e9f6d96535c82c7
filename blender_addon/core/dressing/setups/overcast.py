"""Overcast sky: out of doors under cloud: soft from above, a black card at the right."""

from __future__ import annotations

from .setup import Place, Room, SetUp

LABEL = "Overcast sky"
WORDS = "Out of doors under cloud: soft from above, a black card at the right"
PLACE = 3


def make(place: Place) -> SetUp:
    """Horizon a third of the zenith: the CIE standard overcast sky (Moon & Spencer 1942); a black card gives form a side."""
    card = place.card("black card", -78.0, 14.0, 260.0, 340.0, 320.0, 0.04)
    return SetUp((), (card,), Room(3.0, 1.0, 0.25, 6800.0, 6500.0), 6300.0)
