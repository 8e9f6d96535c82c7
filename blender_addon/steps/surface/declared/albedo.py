"""Removes the room's light from the scan's texture, so that it can be lit afresh."""

from __future__ import annotations

from ....core.records import values
from ....job.settings import number, switch
from ....scene.surface.light_decisions import shading_setting

LABEL = "Albedo"
NEEDS = ("piece",)
USES = ("stand", "aligned", "relief_shading")
MAKES = ("albedo",)
COST = 9.0


@values
class Settings:
    """How the light is removed from the texture."""

    on: bool = switch(
        True,
        label="Take light out",
        help="Remove the room's light and shadows from the texture; off keeps the texture as it was scanned",
    )
    shading: str = shading_setting()
    strength: float = number(
        1.0, low=0.0, high=1.0, help="How much of the light is removed: 0 none, 1 all; lower it where colour is removed too"
    )
