"""The files to hand over: pictures in the client's size and format, the piece as GLB and USD, a page that shows it all."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ...core.shots.formats import frame_used
from ...job.errors import OutputError
from ...job.page import Shown, html
from ...job.settings import choice, integer, length, number, switch, text
from ...job.step import Progress, Result, Run
from ...scene.delivery.asset_files import AssetPart, write_glb, write_usd
from ...scene.delivery.client_pictures import Wanted, write_client_picture
from ...scene.delivery.relief_files import write_relief
from ...scene.kept_decisions import questions
from ...scene.session import write_text
from ...scene.shots.lens_drivers import NEVER
from ...scene.stage import Stage

LABEL = "Delivery files"
NEEDS = ("piece",)
USES = ("stand", "pictures", "shot", "surface", "albedo", "relief_height", "relief_normal")
MAKES = ("files",)

FORMATS = [
    ("none", "None", "Only the rendered PNG files"),
    ("png8", "PNG", "8 bits a channel"),
    ("png16", "PNG, 16 bit", "16 bits a channel"),
    ("tiff16", "TIFF, 16 bit", "16 bits a channel, for print"),
    ("jpeg", "JPEG", "Small, for mail and the web"),
]


@dataclass(kw_only=True)
class Settings:
    """What is handed over."""

    glb: bool = switch(True, help="The piece on its stand as GLB (glTF 2.0), for viewers and the web")
    usd: bool = switch(False, help="The same as USD")
    relief: bool = switch(
        False, help="The recovered relief: height (16 bits, its range in mm told) and normal map (+Y), as PNG"
    )
    page: bool = switch(True, help="A page (HTML) with the pictures, their optics and what was done")
    pictures: str = choice("none", FORMATS, help="Extra copies of the stills in another format or size")
    width: int | None = integer(None, low=16, high=30000, unit="px", help="Width of the copies in pixels")
    print_width: float | None = length(
        None, low=10.0, high=3000.0, help="Width of the copies in print; sets the resolution tag", more=True
    )
    dpi: int = integer(300, low=36, high=2400, help="Dots an inch in print", more=True)
    aspect: float | None = number(None, low=0.2, high=5.0, help="Crop to this width over height, about the middle", more=True)
    scale_bar: bool = switch(False, help="A scale bar in the corner, true at the plane of focus", more=True)
    credit: str = text("", help="A line of credit on the page and in the copies' corner", more=True)
    names: str = text(
        "{job}_{shot}", label="File names", help="Names of the copies; {job}, {shot} and {number} are filled in", more=True
    )


def run(stage: Stage, settings: Settings) -> Run:
    """Write what is asked for; each file appears whole or not at all."""
    if stage.out is None:
        raise OutputError("There is no folder to hand over to: choose one")
    files: list[tuple[str, str]] = []
    yield from _asset(stage, settings, files)
    if settings.relief:
        yield from _relief(stage, files)
    yield from _copies(stage, settings, files)
    if settings.page:
        yield Progress(0.95, "page")
        write_text(stage.out / "index.html", _page(stage, settings, files))
    return Result(f"{len(files) + settings.page} files", {"files": [path for path, _ in files], "page": settings.page})


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


def _copies(stage: Stage, settings: Settings, files: list[tuple[str, str]]) -> Generator[Progress, None, None]:
    assert stage.out is not None
    if settings.pictures == "none":
        return
    shots = _stills(stage)
    wanted = Wanted(
        kind=settings.pictures, width=settings.width, print_width_mm=settings.print_width, dpi=settings.dpi,
        aspect=settings.aspect, scale_bar=settings.scale_bar, credit=settings.credit,
    )  # fmt: skip
    for number_, (name, path, shot) in enumerate(shots, 1):
        yield Progress(0.3 + 0.6 * number_ / len(shots), f"copy of {name}")
        try:
            title = settings.names.format(job=stage.sheet.name, shot=name, number=number_)
        except (KeyError, IndexError, ValueError):
            raise OutputError(f'"{settings.names}" can\'t be used for names: use {{job}}, {{shot}} and {{number}}') from None
        target = write_client_picture(path, stage.out / "hand_over" / title, wanted, field_width_mm=_field_width(shot))
        files.append((f"hand_over/{target.name}", f"{name}, copy"))


def _field_width(shot: Any) -> float:
    """Width of what the shot sees at its plane of focus, mm."""
    width, height = (float(side) for side in shot["bozzetto_format"])
    size = tuple(shot.get("bozzetto_resolution", (3, 2)))  # a portrait or 4:3 picture uses a part of the sensor
    return frame_used(width, height, (size[0], size[1]))[0] / max(float(shot["bozzetto_magnification"]), 1e-9)


def _stills(stage: Stage) -> list[tuple[str, Path, Any]]:
    assert stage.out is not None
    found = []
    for name, shot in stage.find_all("shot").items():
        path = stage.out / "pictures" / f"{name}.png"
        if path.is_file():
            found.append((int(shot.get("bozzetto_order", 0)), name, path, shot))
    return [(name, path, shot) for _, name, path, shot in sorted(found, key=lambda one: one[:2])]


def _page(stage: Stage, settings: Settings, files: list[tuple[str, str]]) -> str:
    assert stage.out is not None
    results = stage.results()
    shown = [Shown(f"pictures/{name}.png", _title(name), _optics(shot)) for name, _, shot in _stills(stage)]
    video = "turntable.mp4" if (stage.out / "turntable.mp4").is_file() else ""
    known = [*files]
    for name, what in (("contact_sheet.png", "all stills on one page"), ("sample_sheet.png", "the piece in every material")):
        if (stage.out / name).is_file():
            known.append((name, what))
    ran = [name for name in stage.sheet.settings if name in results and name != "export"]
    remarks = [words for name in ran for words in results[name].get("warnings", ())]  # older files lack them
    remarks += [note.words for note in stage.notes.warnings() if note.step == "export"]
    labels = {name.capitalize(): results[name]["words"] for name in ran if name != "render"}
    lead = settings.credit or "Pictures from a scan, made with Bozzetto in Blender"
    return html(
        _title(stage.sheet.name),
        lead,
        shown,
        video=video,
        facts=_facts(stage, results),
        done=labels,
        remarks=remarks,
        files=known,
        questions=questions(results),
    )


def _title(name: str) -> str:
    return name.replace("_", " ").replace("-", " ").capitalize()


def _facts(stage: Stage, results: dict[str, Any]) -> dict[str, str]:
    facts = {}
    for role in ("piece", "stand"):
        item = stage.find(role)
        if item is not None:
            size = " x ".join(f"{side:.1f}" for side in _sides(item))
            facts[role.capitalize()] = f"{size} mm (width, depth, height)"
    if results.get("orientation", {}).get("figures", {}).get("assumed"):
        facts["Scale"] = "assumed: no known length was given, so sizes and optics are not to be trusted"
    return facts


def _sides(item: Any) -> tuple[float, float, float]:
    """Width, depth and height in mm; the height from where it stands, not from a bump that dips under that by noise."""
    width, depth, height = (1000.0 * side for side in item.dimensions)
    up = item.matrix_world[2]
    low = min(sum(part * place for part, place in zip(up, (*corner, 1.0), strict=True)) for corner in item.bound_box)
    return width, depth, height + min(1000.0 * low, 0.0)


def _sharp(near: float, far: float) -> str:
    return f"from {near:.0f} mm to infinity" if far >= NEVER else f"{far - near:.1f} mm deep"


def _optics(shot: Any) -> dict[str, str]:
    try:
        return {
            "lens": f"{shot['bozzetto_focal_mm']:g} mm", "at": f"f/{shot['bozzetto_fnumber']:g}",
            "focus": f"{shot['bozzetto_focus_mm']:.0f} mm", "magnification": f"{shot['bozzetto_magnification']:.2f}",
            "sharp": _sharp(float(shot["bozzetto_near_mm"]), float(shot["bozzetto_far_mm"])),
        }  # fmt: skip
    except KeyError:
        return {}
