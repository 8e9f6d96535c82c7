"""Recovers fine relief that the photo texture still shows and the mesh has lost."""

from __future__ import annotations

from ....core.records import values
from ....job.settings import choice, length, number, switch
from ....scene.surface.light_decisions import MARKS, shading_setting

LABEL = "Relief"
NEEDS = ("piece",)
USES = ("stand", "aligned")
MAKES = ("relief_height", "relief_normal", "relief_shading", "relief_middle", "relief_broad")
COST = 12.0


@values
class Settings:
    """How fine relief is recovered."""

    method: str = choice(
        "light",
        [
            ("light", "From the light", "Estimates the room's light and inverts the shading: measured relief"),
            ("band", "Band-pass (effect)", "Treats dark as deep: looks like relief, but is not measured"),
        ],
        help="How the relief is found",
    )
    shading: str = shading_setting()
    marks: str = choice(
        "auto", MARKS, help="Whether fine marks in the texture are relief or paint, where their colour does not tell", more=True
    )
    strength: float | None = number(
        None,
        low=0.0,
        high=3.0,
        help="Strength of the recovered relief: 0 none, 1 as measured; auto: weaker where it is less sure",
    )
    finest: float | None = length(
        None,
        low=0.02,
        high=5.0,
        label="Finest detail",
        help="Finest detail of the band-pass effect; auto: as fine as the texture allows",
    )
    largest: float = length(
        3.0,
        low=0.5,
        high=20.0,
        label="Largest detail",
        help="Largest detail taken from the texture; larger form comes from the mesh",
    )
    calm_lumps: bool = switch(
        True,
        help="Calm lumps of the mesh where the photo shows that the piece is smooth there",
        label="Calm the mesh's lumps",
        more=True,
    )
