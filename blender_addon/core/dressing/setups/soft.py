"""Soft key, fill and rim: a soft box high at the left, a weak fill, a narrow strip behind."""

from __future__ import annotations

from .setup import Place, Room, SetUp

LABEL = "Soft key, fill and rim"
WORDS = "A soft box high at the left, a weak fill, a narrow strip behind"
PLACE = 2


def make(place: Place) -> SetUp:
    """The set-up round this place."""
    key = place.lamp("key", (48.0, 42.0, 620.0), (450.0, 600.0), 10.0, 5600.0)
    fill = place.lamp("fill", (-55.0, 15.0, 900.0), (700.0, 700.0), 0.9, 5400.0)
    rim = place.lamp("rim", (-145.0, 35.0, 620.0), (120.0, 600.0), 12.0, 6000.0)
    return SetUp((key, fill, rim), (), Room(0.12, 0.16, 0.10, 5800.0, 5600.0), 5500.0)
