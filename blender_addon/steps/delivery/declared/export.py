"""The files to hand over: pictures in the client's size and format, the piece as GLB and USD, pages that show it all."""

from __future__ import annotations

from dataclasses import dataclass

from ....job.settings import choice, integer, length, number, switch, text

LABEL = "Delivery files"
NEEDS = ("piece",)
USES = ("stand", "pictures", "shot", "surface", "albedo", "relief_height", "relief_normal")
MAKES = ("files",)
COST = 4.0

FORMATS = [
    ("none", "None", "Only the rendered PNG files"),
    ("png8", "PNG", "8 bits a channel"),
    ("png16", "PNG, 16 bit", "16 bits a channel, from the render itself"),
    ("tiff16", "TIFF, 16 bit", "16 bits a channel, from the render itself, for print"),
    ("jpeg", "JPEG", "Small, for mail and the web"),
    ("exr", "OpenEXR", "The render itself in linear light, half floats; not cropped, nothing drawn on it"),
]
PROFILES = [
    ("srgb", "sRGB", "What screens and the web take for granted (IEC 61966-2-1)"),
    ("p3d65", "Wide, EG 432-1", "The primaries of SMPTE EG 432-1 with a white of D65"),
    ("rec2020", "Wide, BT.2020", "The primaries of Rec. ITU-R BT.2020; for 16 bits"),
]


@dataclass(kw_only=True)
class Settings:
    """What is handed over."""

    glb: bool = switch(True, help="The piece on its stand as GLB (glTF 2.0), for viewers and the web")
    usd: bool = switch(False, help="The same as USD")
    relief: bool = switch(
        False, help="The recovered relief: height (16 bits, its range in mm noted) and normal map (+Y), as PNG"
    )
    page: bool = switch(True, help="A page (HTML) for the client, and a second one with what was done for the maker")
    title: str = text("", help="Title of the piece, on the page and in the copies' words; by itself the job's name")
    maker: str = text("", help="Who made the piece")
    material: str = text("", help="What the piece is made of, in words; by itself what the pictures show", more=True)
    accession: str = text("", help="The owner's inventory number", more=True)
    rights: str = text("", help="Copyright notice", more=True)
    licence: str = text("", help="Terms of use, or the web address of a licence", more=True)
    credit: str = text("", help="A line of credit: on the page, in the copies' corner and in their words (XMP)", more=True)
    pictures: str = choice("none", FORMATS, help="Extra copies of the stills in another format or size")
    profile: str = choice("srgb", PROFILES, help="Colour profile of the copies", more=True)
    width: int | None = integer(None, low=16, high=30000, unit="px", help="Width of the copies in pixels")
    print_width: float | None = length(
        None, low=10.0, high=3000.0, help="Width of the copies in print; sets the resolution tag", more=True
    )
    dpi: int = integer(300, low=36, high=2400, help="Dots an inch in print", more=True)
    crops: str = text("", help="Crops of each still, with commas, such as 3:2, 1:1, 4:5, 16:9; the subject is not cut")
    aspect: float | None = number(None, low=0.2, high=5.0, help="Crop to this width over height", more=True)
    scale_bar: bool = switch(False, help="A scale bar in the corner, true at the plane of focus", more=True)
    names: str = text(
        "{job}_{shot}",
        label="File names",
        help="Names of the copies; {job}, {shot}, {number} and {crop} are filled in",
        more=True,
    )

    def check_names(self) -> None:
        """Raise SheetError when the names of the copies can't be made, or all would be one."""
        from .._copies import check_names  # knows much of pictures, which Blender's start need not

        check_names(self)
