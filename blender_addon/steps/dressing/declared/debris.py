"""Lays what falls off the work round it: shavings, offcuts, crumbs and powder, clear of subject, props and sight lines."""

from __future__ import annotations

from dataclasses import dataclass

from ....job.settings import choice, colour, data, integer, length, number, switch

LABEL = "Debris"
NEEDS = ("piece", "shot", "table")
USES = ("stand", "prop", "surface", "move")
MAKES = ("debris",)
COST = 6.0

BODY_CHOICES = (
    ("clay", "Clay", "Trimmings, rolled bits and crumbs in the colour of the piece"),
    ("wood", "Wood", "Curled shavings, chips and splinters"),
    ("stone", "Stone", "Chips and grit"),
)


@dataclass(kw_only=True)
class Settings:
    on: bool | None = switch(None, help="Lay debris; auto: where the piece's material is still being worked", label="Debris")
    count: int = integer(
        300, low=0, high=500_000, label="Pieces", help="How many pieces; 300 look right, many more are possible"
    )
    powder: int | None = integer(None, low=0, high=500_000, help="How many grains of powder; auto: six a piece, 20,000 at most")
    body: str | None = choice(None, BODY_CHOICES, help="What the pieces are of; auto: as the material of the piece")
    tone: tuple[float, float, float] | None = colour(
        None, help="Colour of the pieces (linear albedo, 0 to 1); auto: that of the piece", label="Colour"
    )
    size: float = number(1.0, low=0.1, high=10.0, label="Size factor", help="Factor on the true sizes", more=True)
    falloff: float | None = length(
        None, low=5.0, high=2000.0, help="Distance from the subject in which they thin out; auto: by the subject's size"
    )
    drift: float = number(0.75, low=0.0, high=1.0, label="Drifts", help="0 even, 1 gathered in drifts", more=True)
    keep_off: float = length(1.2, low=0.0, high=200.0, help="Least distance from subject and props", more=True)
    on_stand: int = integer(
        0, low=0, high=2000, label="On the stand", help="How many pieces also lie on the stand and turn with it", more=True
    )
    mask: str | None = data("image", help="A picture laid over the table, white where debris may lie", more=True)
    seed: int | None = integer(
        None, low=0, high=1_000_000, label="Arrangement", help="Another number, another arrangement; auto: as the table's"
    )
