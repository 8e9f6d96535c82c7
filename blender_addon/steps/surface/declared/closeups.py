"""Takes relief and colour finer than any scan from close-ups of the real piece, photographed under a lamp that was moved."""

from __future__ import annotations

from dataclasses import dataclass

from ....job.cautions import LAMPS
from ....job.settings import choice, file, integer, number, point, table, text

LABEL = "Close-ups"
NEEDS = ("piece",)
USES = ("stand", "upright", "relief_normal", "albedo")
MAKES = ("closeup_normal", "closeup_weight", "closeup_colour")
COST = 1.0

KINDS = (
    ("lamp", "Lamp on", f"Taken with the lamp at one of its places. {LAMPS}"),
    ("room", "Lamp off", "Taken from the same place with the lamp off: the room's light alone"),
)


@dataclass(kw_only=True)
class PhotoRow:
    """One photo of a close-up."""

    file: str = file("", help="The photo: JPEG or PNG, as the camera wrote it")
    set: str = text("1", label="Place", help="Photos from one camera place, the lamp moved between them, have one name")
    kind: str = choice("lamp", KINDS, help="Whether the lamp was on")


@dataclass(kw_only=True)
class SpotRow:
    """One spot of the piece, marked on the first photo of a place and on the scan."""

    set: str = text("1", label="Place", help="Whose first photo it is marked on")
    pixel: tuple[float, ...] | None = point(
        None, size=2, unit="px", help="The spot on the photo, x and y from its top left as it is shown"
    )
    on_piece: tuple[float, ...] | None = point(None, help="The same spot on the piece, in the scene")
    on_scan: tuple[float, ...] | None = point(
        None, unit="", help="Or the same spot in the first scan's own coordinates, as in its file"
    )


@dataclass(kw_only=True)
class Settings:
    """Which close-ups there are, and where they were taken."""

    photos: list[PhotoRow] = table(PhotoRow, short="file", help="Close-ups of the piece, two to twenty from each place")
    spots: list[SpotRow] = table(
        SpotRow,
        help="Four and more spots a place (six are better), the same on its first photo and on the scan; without any the place "
        "is looked for",
    )
    strength: float = number(1.0, low=0.0, high=4.0, help="How strong their relief shows; 1 is as measured")
    accepted: str = text(
        "", help="Places that are used though the camera found for them is not sure, with commas between", more=True
    )
    by_hand: str = text(
        "", help="Places whose camera was held by hand, with commas between: each photo is then aligned by itself", more=True
    )
    longest_side: int = integer(
        2400, low=400, high=6000, unit="px", help="Larger photos are worked on at a part of their size", more=True
    )
