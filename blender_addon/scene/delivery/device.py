"""What does Cycles render on: the processor, or a graphics card, found and set up by itself where there is no window?

In a window the user's preferences decide. A program without one has no preferences: the first kind of card that Cycles can
use is taken then. Preferences are changed for this session alone, and never saved.
"""

from __future__ import annotations

import contextlib
from typing import Any

import bpy

from ...core.records import record
from ...job.errors import OutputError

KINDS = {"optix": "OPTIX", "cuda": "CUDA", "hip": "HIP", "oneapi": "ONEAPI", "metal": "METAL"}
"""The word on the sheet and Cycles' own, in the order in which they are tried: of a maker's kinds the faster first."""


@record
class Device:
    """What is rendered on. setting: Cycles' word, 'CPU' or 'GPU'. kind: such as 'CUDA', '' for the processor. cards: names."""

    setting: str = "CPU"
    kind: str = ""
    cards: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """The device in words for a message."""
        return f"{', '.join(self.cards)} ({self.kind})" if self.cards else "the processor"


def find_device(wish: str) -> Device:
    """The device for a wish: 'cpu', 'auto', or one of `KINDS`. Raises OutputError where a kind is named that is not here."""
    addon = bpy.context.preferences.addons.get("cycles")
    if wish == "cpu" or addon is None:
        return Device()
    preferences = addon.preferences
    if wish in KINDS:
        found = _use(preferences, KINDS[wish])
        if found is None:
            raise OutputError(
                f"Cycles finds no graphics card that it can use by {wish} on this machine; choose another render.device or auto"
            )
        return found
    if preferences.compute_device_type != "NONE":
        return _as_set(preferences)
    if not bpy.app.background:
        return Device()
    return next(filter(None, (_use(preferences, kind) for kind in KINDS.values())), Device())


def _as_set(preferences: Any) -> Device:
    """The cards that the preferences have chosen."""
    kind = preferences.compute_device_type
    with contextlib.suppress(Exception):  # a driver that fails to answer is a machine without a card
        preferences.refresh_devices()
    cards = tuple(card.name for card in preferences.devices if card.type == kind and card.use)
    return Device("GPU", kind, cards) if cards else Device()


def _use(preferences: Any, kind: str) -> Device | None:
    """Let Cycles render on all cards of a kind, and on these alone; None, and nothing changed, where there is none."""
    before = preferences.compute_device_type
    try:
        preferences.compute_device_type = kind
        preferences.refresh_devices()
        cards = [card for card in preferences.devices if card.type == kind]
    except Exception:  # this build does not know the kind, or its driver fails to answer
        cards = []
    if not cards:
        preferences.compute_device_type = before
        return None
    for card in preferences.devices:
        card.use = card.type == kind
    return Device("GPU", kind, tuple(card.name for card in cards))
