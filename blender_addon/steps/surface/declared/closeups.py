"""Adds relief and colour finer than the scan's from close-up photos of the real piece, taken under a moved lamp."""

from __future__ import annotations

from ....core.records import values
from ....job.cautions import LAMPS
from ....job.settings import choice, file, integer, number, table, text
from ._placed_photos import SpotRow, accepted_names, spots_table

LABEL = "Close-ups"
NEEDS = ("piece",)
USES = ("stand", "upright", "relief_normal", "albedo")
MAKES = ("closeup_normal", "closeup_weight", "closeup_colour")
COST = 1.0

KINDS = (
    ("lamp", "Lamp on", f"Taken with the lamp at one of its places. {LAMPS}"),
    ("room", "Lamp off", "Taken from the same place with the lamp off, to subtract the room's light"),
)


@values
class PhotoRow:
    """One close-up photo."""

    file: str = file("", help="The photo's file: JPEG or PNG, as the camera wrote it")
    set: str = text(
        "1",
        label="Place",
        help="Name of the camera's place; photos from the same place, with the lamp moved between them, share it",
    )
    kind: str = choice("lamp", KINDS, help="Whether the lamp was on or off")


@values
class Settings:
    """Which close-up photos there are, and where they were taken from."""

    photos: list[PhotoRow] = table(
        PhotoRow, short="file", help="Close-up photos of the piece, two to twenty from each camera place"
    )
    spots: list[SpotRow] = spots_table("camera place", "its first photo")
    strength: float = number(1.0, low=0.0, high=4.0, help="Strength of the relief from the photos: 0 none, 1 as measured")
    accepted: str = accepted_names("camera found for them is")
    by_hand: str = text(
        "",
        label="Hand-held places",
        help="Names of places photographed without a tripod, separated by commas; each of their photos is aligned by itself",
        more=True,
    )
    longest_side: int = integer(
        2400,
        low=400,
        high=6000,
        unit="px",
        help="Longest side at which photos are processed; larger photos are reduced; raise it for the finest detail",
        more=True,
    )
