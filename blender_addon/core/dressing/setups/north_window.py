"""North window: one tall window at the camera's left, a dim room, a white card at the right."""

from __future__ import annotations

from .setup import Place, Room, SetUp

LABEL = "North window"
WORDS = "One tall window at the camera's left, a dim room, a white card at the right"
PLACE = 1


def make(place: Place) -> SetUp:
    """The set-up round this place."""
    window = place.lamp("window", (60.0, 33.0, 950.0), (700.0, 1000.0), 10.0, 6400.0)
    card = place.card("white card", -82.0, 8.0, 330.0, 210.0, 260.0, 0.85)
    # The room is hardly warmer than the window: a camera balanced for the lit side makes shadows orange soon enough.
    return SetUp((window,), (card,), Room(0.07, 0.17, 0.10, 5800.0, 5600.0), 6200.0)
