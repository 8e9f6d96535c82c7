"""Writes the files for the client: pictures in the wanted size and format, the piece as GLB and USD, pages that show them."""

from __future__ import annotations

from ....core.records import values
from ....job.settings import choice, integer, length, number, switch, text

LABEL = "Delivery files"
NEEDS = ("piece",)
USES = ("stand", "pictures", "shot", "surface", "albedo", "relief_height", "relief_normal", "comparison")
MAKES = ("files",)
COST = 4.0

FORMATS = [
    ("none", "None", "Only the rendered PNG files"),
    ("png8", "PNG", "8 bits per channel, without loss"),
    ("png16", "PNG, 16 bit", "16 bits per channel, from the render itself, for retouching"),
    ("tiff16", "TIFF, 16 bit", "16 bits per channel, from the render itself, for print"),
    ("jpeg", "JPEG", "Small files with slight loss, for mail and the web"),
    ("exr", "OpenEXR", "The render itself, scene-linear half floats, for compositing; not cropped, nothing drawn on it"),
]
PROFILES = [
    ("srgb", "sRGB", "The standard of screens and the web (IEC 61966-2-1)"),
    ("p3d65", "Wide, EG 432-1", "A wide gamut of recent screens: primaries of SMPTE EG 432-1, white D65"),
    ("rec2020", "Wide, BT.2020", "A very wide gamut (Rec. ITU-R BT.2020); use it with 16 bits"),
]


@values
class Settings:
    """Which files are written for the client."""

    glb: bool = switch(True, help="Write the piece on its stand as a GLB model (glTF 2.0), for viewers and the web")
    usd: bool = switch(False, help="Write the piece on its stand as a USD model, for other 3D programs")
    relief: bool = switch(
        False,
        help="Write the recovered relief as PNG: a 16-bit height map, with its range in mm in the file, and a +Y normal map",
    )
    page: bool = switch(
        True,
        label="Web pages",
        help="Write two web pages: one for the client, and one for the maker with what was done and what to check",
    )
    title: str = text("", help="Title of the piece, on the page and in the copies' metadata; empty: the job's name")
    maker: str = text("", help="Name of the artist, on the page and in the copies' metadata")
    material: str = text(
        "",
        help="Material of the piece in words, on the page and in the copies' metadata; empty: as the pictures show",
        more=True,
    )
    accession: str = text(
        "",
        label="Inventory number",
        help="Inventory number of the owner or museum, on the page and in the copies' metadata",
        more=True,
    )
    rights: str = text("", help="Copyright notice, on the page and in the copies' metadata", more=True)
    licence: str = text(
        "", help="Terms of use, or the web address of a licence, on the page and in the copies' metadata", more=True
    )
    credit: str = text("", help="Credit line: on the page, in the corner of the copies and in their metadata (XMP)", more=True)
    pictures: str = choice(
        "none",
        FORMATS,
        label="Extra copies",
        help="Format of extra copies of the stills; choose one to deliver another size, crop, profile or file type",
    )
    profile: str = choice(
        "srgb", PROFILES, help="Colour profile of the copies; a wide one only where the recipient handles profiles", more=True
    )
    width: int | None = integer(
        None,
        low=16,
        high=30000,
        unit="px",
        help="Width of the copies; auto: as rendered, or as print width and resolution give it",
    )
    print_width: float | None = length(
        None,
        low=10.0,
        high=3000.0,
        help="Width of the copies in print; with the dots per inch it gives the size in pixels",
        more=True,
    )
    dpi: int = integer(
        300, low=36, high=2400, help="Print resolution in dots per inch; 300 is usual, 150 is enough for posters", more=True
    )
    crops: str = text(
        "", help="Crops of each still, separated by commas, such as 3:2, 1:1, 4:5, 16:9; the subject is never cut"
    )
    aspect: float | None = number(
        None, low=0.2, high=5.0, help="Crop all copies to this ratio of width to height; auto: uncropped", more=True
    )
    scale_bar: bool = switch(
        False, help="Draw a scale bar in the corner of the copies; it is true at the plane of focus", more=True
    )
    names: str = text(
        "{job}_{shot}",
        label="File names",
        help="Pattern for the copies' file names; {job}, {shot}, {number} and {crop} are filled in",
        more=True,
    )

    def check_names(self) -> None:
        """Raise SheetError when the names of the copies can't be made, or all would be one."""
        from .._copies import check_names  # knows much of pictures, which Blender's start need not

        check_names(self)
