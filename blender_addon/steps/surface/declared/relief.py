"""Brings back the fine relief that the photo texture still shows and the mesh has lost."""

from __future__ import annotations

from dataclasses import dataclass

from ....job.settings import choice, length, number
from ....scene.surface.light_decisions import MARKS, SHADING

LABEL = "Relief"
NEEDS = ("piece",)
USES = ("stand", "aligned")
MAKES = ("relief_height", "relief_normal", "relief_shading", "relief_middle", "relief_broad")
COST = 12.0


@dataclass(kw_only=True)
class Settings:
    """What relief is brought back."""

    method: str = choice(
        "light",
        [
            ("light", "From the light", "Fits the light of the room and inverts the shading: measured relief"),
            ("band", "Band-pass (effect)", "Dark is deep: looks like relief, and is none"),
        ],
        help="Where the relief comes from",
    )
    shading: str = choice("auto", SHADING, help="Whether the texture is a photo of a lit surface", more=True)
    marks: str = choice("auto", MARKS, help="Whether fine marks without a hue of their own are relief or paint", more=True)
    strength: float | None = number(
        None, low=0.0, high=3.0, help="How strong it shows; 1 is as measured; auto: it follows how sure it is"
    )
    finest: float | None = length(None, low=0.02, high=5.0, help="Finest detail of the band-pass; auto: what a texel holds")
    largest: float = length(3.0, low=0.5, high=20.0, help="Largest detail taken from the texture; the mesh knows larger ones")
