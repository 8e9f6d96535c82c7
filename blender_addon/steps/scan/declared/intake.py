"""Reads the scan files with their textures and reports what they contain; the files are never changed."""

from __future__ import annotations

from ....core.records import values
from ....job.cautions import IN_SHORT
from ....job.settings import AskedRow, choice, file, switch, table

LABEL = "Load scans"
NEEDS: tuple[str, ...] = ()
MAKES = ("scan",)
COST = 2.0
READS = tuple(f"orientation.{name}" for name in ("height", "width", "stand_length", "disc", "distance"))

ROLES = (
    ("whole", "Whole", "Piece and stand together, as they were scanned"),
    ("piece", "Piece", f"Only the piece counts, for example dusted so that it scans well. {IN_SHORT}"),
    ("stand", "Stand", "Only the stand counts, for example scanned bare so that it keeps its colour"),
    ("turned", "Turned", "The piece again, turned in the same light: a second scan that improves the relief"),
)
UNITS = (
    ("auto", "Auto", "Guessed from the size of the scan; a known length makes it irrelevant"),
    ("m", "Metres", "The file is in metres, at true size"),
    ("cm", "Centimetres", "The file is in centimetres, at true size"),
    ("mm", "Millimetres", "The file is in millimetres, at true size"),
    ("in", "Inches", "The file is in inches, at true size"),
)
PICTURE = file("", help='The picture that holds the colour, or "none" for no colour; empty: found by name and content')


@values
class Scan:
    """One scan file."""

    file: str = file("", help="The scan's mesh file: OBJ, PLY, STL, GLB, glTF, FBX or USD")
    role: str = choice("whole", ROLES, help="What this scan shows")
    picture: str = PICTURE


@values
class Settings:
    """Which scan files are read."""

    ALIASES = {"scan": "scans"}
    ASKED = (
        AskedRow(
            "scan", "Scan", "Mesh file of the piece's scan: OBJ, PLY, STL, GLB, glTF, FBX or USD",
            "scans", "file", "role", ("whole", "piece"), needed=True,
        ),
        AskedRow(
            "stand_scan", "Stand's scan",
            "A second scan, of the bare stand, which gives the stand its shape and colour; empty: from the first scan",
            "scans", "file", "role", ("stand",),
        ),
    )  # fmt: skip

    scans: list[Scan] = table(Scan, short="file", help="The scans of this job, the main scan first")
    unit: str = choice(
        "auto", UNITS, help="Unit of the scan files' coordinates; needed only where no length of the piece is known"
    )
    find_textures: bool = switch(
        True, help="Use pictures that lie beside the file as its textures where the file names none", more=True
    )
