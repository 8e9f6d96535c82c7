"""Does Cycles render on the processor or on a graphics card? Without a window a card is found and set up automatically.

In a window the user's preferences decide. Blender without a window has none set, so the first kind of card that Cycles can use
is taken. Preferences are changed only for this session and never saved.
"""

from __future__ import annotations

import contextlib

import bpy

from ...core.records import record
from ...job.errors import OutputError

KINDS = {"optix": "OPTIX", "cuda": "CUDA", "hip": "HIP", "oneapi": "ONEAPI", "metal": "METAL"}
"""The sheet's value to Cycles' name, in the order in which they are tried: of one manufacturer's kinds the faster first."""


@record
class Device:
    """A render device. setting: Cycles' value, 'CPU' or 'GPU'. kind: such as 'CUDA', '' for the processor. cards: names."""

    setting: str = "CPU"
    kind: str = ""
    cards: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """The device's description for a message."""
        return f"{', '.join(self.cards)} ({self.kind})" if self.cards else "the processor"


def find_device(wish: str) -> Device:
    """The device for a setting: 'cpu', 'auto', or one of `KINDS`. Raises OutputError where that kind is not available."""
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


def _as_set(preferences: bpy.types.AddonPreferences) -> Device:
    """The cards that are chosen in the preferences."""
    kind = preferences.compute_device_type
    with contextlib.suppress(Exception):  # with a failing driver the machine counts as one without a card
        preferences.refresh_devices()
    cards = tuple(card.name for card in preferences.devices if card.type == kind and card.use)
    return Device("GPU", kind, cards) if cards else Device()


def _use(preferences: bpy.types.AddonPreferences, kind: str) -> Device | None:
    """Make Cycles render on all cards of a kind and on nothing else; None, with nothing changed, where there is none."""
    before = preferences.compute_device_type
    try:
        preferences.compute_device_type = kind
        preferences.refresh_devices()
        cards = [card for card in preferences.devices if card.type == kind]
    except Exception:  # this build does not know the kind, or its driver fails
        cards = []
    if not cards:
        preferences.compute_device_type = before
        return None
    for card in preferences.devices:
        card.use = card.type == kind
    return Device("GPU", kind, tuple(card.name for card in cards))
