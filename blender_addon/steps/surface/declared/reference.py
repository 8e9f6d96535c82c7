"""Finds the camera and the light of reference photos of the real piece, for shots that can be laid beside them."""

from __future__ import annotations

from ....core.records import values
from ....job.errors import SheetError
from ....job.files.names import check_apart, check_name
from ....job.settings import file, integer, table, text
from ._placed_photos import SpotRow, accepted_names, spots_table

LABEL = "Reference photo"
NEEDS = ("piece", "surface")
USES = ("stand", "upright", "relief_normal", "albedo")
MAKES = ("reference", "reference_world", "reference_light", "reference_photo", "reference_mask")
COST = 0.2


@values
class ReferenceRow:
    """One reference photo."""

    file: str = file("", help="The photo's file: JPEG or PNG, as the camera wrote it")
    set: str = text("", label="Place", help="Name of the camera's place, by which spots name the photo; empty: its number")


@values
class Settings:
    """Which photos of the real piece are laid beside its render."""

    photos: list[ReferenceRow] = table(
        ReferenceRow,
        short="file",
        help="Photos of the real piece as a whole, each from a place of its own; each gives a shot with its camera and light",
    )
    spots: list[SpotRow] = spots_table("photo", "it")
    accepted: str = accepted_names("camera or the light found for them is")
    longest_side: int = integer(
        1600, low=400, high=6000, unit="px", help="Longest side at which the photo is kept beside the render", more=True
    )

    def named(self) -> list[tuple[str, str, ReferenceRow]]:
        """(place, shot's name, row) of each photo that is named."""
        rows = [row for row in self.photos if row.file.strip()]
        places = [row.set.strip() or str(number) for number, row in enumerate(rows, 1)]
        return [
            (place, "reference" if place == "1" else f"reference {place}", row) for place, row in zip(places, rows, strict=True)
        ]

    def check_names(self) -> None:
        """Raise SheetError where two photos have one place, or a place's name can't be that of a file."""
        names = [name for _, name, _ in self.named()]
        for name in names:
            check_name("reference.photos: the name", name)
        for place, name, _ in self.named():
            if names.count(name) > 1:
                raise SheetError(f'reference.photos: two photos are from the place "{place}": give each a set of its own')
        check_apart("reference.photos", names)
