"""Bench lamp: a small warm lamp close by at the left in a dim room, with clear shadows."""

from __future__ import annotations

from .setup import Place, Room, SetUp

LABEL = "Bench lamp"
WORDS = "A small warm lamp close by at the left in a dim room, with clear shadows"
PLACE = 4


def make(place: Place) -> SetUp:
    """The set-up round this place."""
    lamp = place.lamp("lamp", (44.0, 46.0, 430.0), (120.0, 120.0), 60.0, 3300.0, round=True)
    card = place.card("white card", -85.0, 5.0, 300.0, 180.0, 220.0, 0.75)
    return SetUp((lamp,), (card,), Room(0.13, 0.24, 0.12, 4300.0, 3800.0), 3500.0)
