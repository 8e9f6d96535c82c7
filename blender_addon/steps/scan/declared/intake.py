"""Reads the scan files with their textures, says what is in them, and keeps them untouched."""

from __future__ import annotations

from dataclasses import dataclass

from ....job.cautions import IN_SHORT
from ....job.settings import AskedRow, choice, file, switch, table

LABEL = "Load scans"
NEEDS: tuple[str, ...] = ()
MAKES = ("scan",)
COST = 2.0
READS = tuple(f"orientation.{name}" for name in ("height", "width", "stand_length", "disc", "distance"))

ROLES = (
    ("whole", "Whole", "Piece and stand as they are"),
    ("piece", "Piece", f"Only the piece counts, for example dusted so that it scans well. {IN_SHORT}"),
    ("stand", "Stand", "Only the stand counts, for example bare so that it keeps its colour"),
    ("turned", "Turned", "The piece again, turned under the same light"),
)
UNITS = (
    ("auto", "Auto", "Guessed from the size; a known length decides"),
    ("m", "Metres", "The file is in metres, at true size"),
    ("cm", "Centimetres", "The file is in centimetres, at true size"),
    ("mm", "Millimetres", "The file is in millimetres, at true size"),
    ("in", "Inches", "The file is in inches, at true size"),
)
PICTURE = file("", help='The picture that is its colour, "none" for no colour; auto: found by names and content')


@dataclass(kw_only=True)
class Scan:
    """One scan file."""

    file: str = file("", help="The scan: OBJ, PLY, STL, GLB, glTF, FBX or USD")
    role: str = choice("whole", ROLES, help="What this scan is for")
    picture: str = PICTURE


@dataclass(kw_only=True)
class Settings:
    """The settings of intake."""

    ALIASES = {"scan": "scans"}
    ASKED = (
        AskedRow(
            "scan", "Scan", "The scanned mesh of the piece: OBJ, PLY, STL, GLB, glTF, FBX or USD",
            "scans", "file", "role", ("whole", "piece"), needed=True,
        ),
        AskedRow(
            "stand_scan", "Stand's scan",
            "Another scan, of the bare stand, that gives the stand its shape and colour; empty: the first scan gives it",
            "scans", "file", "role", ("stand",),
        ),
    )  # fmt: skip

    scans: list[Scan] = table(Scan, short="file", help="The scans of this job, the main one first")
    unit: str = choice("auto", UNITS, help="The unit that the scan files are written in")
    find_textures: bool = switch(True, help="Take textures that lie beside the file though it does not name them", more=True)
