"""Lays shavings, offcuts, crumbs and powder round the piece, clear of subject, props and sight lines."""

from __future__ import annotations

from ....core.records import values
from ....job.settings import choice, colour, data, integer, length, number, switch

LABEL = "Debris"
NEEDS = ("piece", "shot", "table")
USES = ("stand", "prop", "surface", "move")
MAKES = ("debris",)
COST = 6.0

BODY_CHOICES = (
    ("clay", "Clay", "Trimmings, rolled bits and crumbs in the clay's colour"),
    ("wood", "Wood", "Curled shavings, chips and splinters"),
    ("stone", "Stone", "Chips and grit"),
)


@values
class Settings:
    on: bool | None = switch(
        None,
        help="Lay debris round the piece; auto: where its material would still be worked, such as unfired clay",
        label="Debris",
    )
    count: int = integer(
        300, low=0, high=500_000, label="Pieces", help="Number of pieces of debris; 300 look natural, more look like a busy day"
    )
    powder: int | None = integer(
        None, low=0, high=500_000, help="Number of grains of powder; auto: six per piece of debris, 20,000 at most"
    )
    body: str | None = choice(None, BODY_CHOICES, help="Material of the debris; auto: that of the piece")
    tone: tuple[float, float, float] | None = colour(
        None, help="Colour of the debris (linear albedo); auto: that of the piece", label="Colour"
    )
    size: float = number(
        1.0,
        low=0.1,
        high=10.0,
        label="Size factor",
        help="Factor on the natural sizes of the debris; 1 is natural, change it for very small or large pieces",
        more=True,
    )
    falloff: float | None = length(
        None,
        low=5.0,
        high=2000.0,
        help="Distance from the subject over which the debris thins out; auto: by the subject's size",
    )
    drift: float = number(
        0.75,
        low=0.0,
        high=1.0,
        label="Drifts",
        help="How far the debris gathers in drifts: 0 evenly spread, 1 all in drifts",
        more=True,
    )
    keep_off: float = length(
        1.2, low=0.0, high=200.0, label="Keep clear by", help="Smallest distance of debris from subject and props", more=True
    )
    on_stand: int = integer(
        0, low=0, high=2000, label="On the stand", help="Number of pieces that lie on the stand and turn with it", more=True
    )
    mask: str | None = data(
        "image",
        help="Density mask: an image over the table as seen from above, white for most debris, black for none",
        more=True,
    )
    seed: int | None = integer(
        None,
        low=0,
        high=1_000_000,
        label="Arrangement",
        help="Number of the random arrangement; another number gives another arrangement; auto: the table's",
    )
