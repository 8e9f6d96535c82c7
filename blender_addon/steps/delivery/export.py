"""The files to hand over: pictures in the client's size and format, the piece as GLB and USD, pages that show it all."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass

from ...job.errors import OutputError
from ...job.files.made_files import MAKERS_PAGE, PAGE
from ...job.pages.page import client_page, makers_page
from ...job.settings import choice, integer, length, number, switch, text
from ...job.step import Progress, Result, Run
from ...scene.delivery.asset_files import AssetPart, write_glb, write_usd
from ...scene.delivery.relief_files import write_relief
from ...scene.running.session import write_text
from ...scene.stage import Stage
from . import _copies, _pages

LABEL = "Delivery files"
NEEDS = ("piece",)
USES = ("stand", "pictures", "shot", "surface", "albedo", "relief_height", "relief_normal")
MAKES = ("files",)

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
        _copies.check_names(self)


def run(stage: Stage, settings: Settings) -> Run:
    """Write what is asked for; each file appears whole or not at all."""
    if stage.out is None:
        raise OutputError("There is no folder to hand over to: choose one")
    files: list[tuple[str, str]] = []
    yield from _asset(stage, settings, files)
    if settings.relief:
        yield from _relief(stage, files)
    files += yield from _copies.write_copies(stage, settings)
    if settings.page:
        yield Progress(0.95, "pages")
        turning = _pages.write_turn(stage, stage.sheet["render"].mark)
        write_text(stage.out / PAGE, client_page(_pages.client_content(stage, settings, files, turning)))
        write_text(stage.out / MAKERS_PAGE, makers_page(_pages.makers_content(stage, settings, files)))
    count = len(files) + 2 * settings.page
    figures = {"files": [path for path, _ in files], "page": settings.page, **_pages.on_a_card(stage, settings)}
    return Result(f"{count} files", figures)


def _asset(stage: Stage, settings: Settings, files: list[tuple[str, str]]) -> Generator[Progress, None, None]:
    assert stage.out is not None
    for wanted, writer, suffix, what in (
        (settings.glb, write_glb, ".glb", "the piece on its stand, glTF 2.0"),
        (settings.usd, write_usd, ".usdc", "the same as USD"),
    ):
        if wanted:
            yield Progress(0.05, f"{suffix[1:].upper()} file", blocking=True)
            target = stage.out / f"{stage.sheet.name}{suffix}"
            writer(_parts(stage), target)
            files.append((target.name, what))


def _relief(stage: Stage, files: list[tuple[str, str]]) -> Generator[Progress, None, None]:
    assert stage.out is not None
    for role in ("piece", "stand"):
        height, normal = (stage.find(f"relief_{part}", role) for part in ("height", "normal"))
        if height is not None or normal is not None:
            yield Progress(0.2, f"relief of the {role}")
            written = write_relief(stage.out / "relief", f"{stage.sheet.name}_{role}", height, normal)
            files.extend((f"relief/{name}", what) for name, what in written)
    if not any(name.startswith("relief/") for name, _ in files):
        stage.note("No relief was recovered, so there are no maps of it to hand over")


def _parts(stage: Stage) -> list[AssetPart]:
    parts = []
    for role in ("piece", "stand"):
        item = stage.find(role)
        if item is not None:
            parts.append(
                AssetPart(
                    role.capitalize(), item, surface=stage.find("surface", role), albedo=stage.find("albedo", role),
                    normal=stage.find("relief_normal", role),
                )
            )  # fmt: skip
    return parts
