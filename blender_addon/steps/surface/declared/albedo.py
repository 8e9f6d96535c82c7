"""Takes the room's light out of the kept texture, so that it can be lit anew."""

from __future__ import annotations

from dataclasses import dataclass

from ....job.settings import choice, number, switch
from ....scene.surface.light_decisions import SHADING

LABEL = "Albedo"
NEEDS = ("piece",)
USES = ("stand", "aligned", "relief_shading")
MAKES = ("albedo",)
COST = 9.0


@dataclass(kw_only=True)
class Settings:
    """How the light is taken out."""

    on: bool = switch(
        True, label="Take light out", help="Take the light out of the texture; off keeps the texture as it was scanned"
    )
    shading: str = choice("auto", SHADING, help="Whether the texture is a photo of a lit surface", more=True)
    strength: float = number(1.0, low=0.0, high=1.0, help="How much of the light is taken out")
