"""Writes copies of the stills in the client's shape, size and format; all names are checked before the first is written."""

from __future__ import annotations

import math
from collections.abc import Generator, Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ...core.delivery.crop_window import Box, parse_aspect
from ...core.files.pictures.icc import GAMUTS
from ...core.files.pictures.labels import Labels
from ...core.files.pictures.picture_headers import check_picture
from ...core.files.pictures.png import labelled
from ...core.files.pictures.xmp import PictureWords
from ...core.records import record
from ...core.shots.formats import frame_used
from ...job.errors import SheetError
from ...job.files.made_files import MadeFiles
from ...job.files.names import check_apart, check_name, check_template, filled
from ...job.files.whole_files import check_free, write_bytes
from ...job.notes import several
from ...job.step import Progress
from ...scene.delivery.copies.client_pictures import SUFFIX, Copy, Wanted, write_copy
from ...scene.delivery.copies.marked import is_marked
from ...scene.delivery.cutouts import cutout_of
from ...scene.shots.cameras import shot_view, subject_points
from ...scene.stage import Stage

if TYPE_CHECKING:
    import bpy

    from .declared.export import Settings

FOLDER = "hand_over"
NAME_FIELDS = ("job", "shot", "number", "crop")
WHOLE = "whole"
CUTOUT = "cutout"
"""What stands for `{crop}` in the names of cut-outs."""
ALONE = "alone with its shadow, on a transparent background"
GROWN = 1.01
"""Enlargement of a copy over the render from which the user is warned."""


@record
class Still:
    """A rendered still: its shot's name, its file, its camera."""

    name: str
    path: Path
    shot: bpy.types.Object


def crops_of(settings: Settings) -> list[tuple[str, float | None]]:
    """(name, width over height) of each requested crop; one uncropped entry where there is none. Raises SheetError."""
    found: list[tuple[str, float | None]] = []
    for words in filter(str.strip, settings.crops.split(",")):
        try:
            aspect = parse_aspect(words)
        except ValueError as error:
            raise SheetError(f"export.crops: {error}; write shapes such as 3:2, 1:1, 4:5, 16:9") from None
        found.append((words.strip().replace(":", "x").replace("/", "x").replace(" ", ""), aspect))
    if settings.aspect is not None:
        found.append((f"{settings.aspect:g}", settings.aspect))
    return found or [(WHOLE, None)]


def template_of(settings: Settings) -> str:
    """The template of the file names, with the crop appended where several copies would have the same name."""
    several = len(crops_of(settings)) > 1 and "{crop" not in settings.names
    return f"{settings.names}_{{crop}}" if several else settings.names


def check_names(settings: Settings) -> None:
    """Raise SheetError where the copies' names are invalid or not unique."""
    template = check_template("export.names", template_of(settings), NAME_FIELDS, apart=("shot", "number"))
    check_apart("export.crops", [name for name, _ in crops_of(settings)])
    for crop, _ in crops_of(settings):
        filled("export.names", template, {"job": "job", "shot": "shot", "number": 1, "crop": crop})


def stills_of(stage: Stage) -> list[Still]:
    """The stills that exist, in the order of the shots."""
    assert stage.out is not None
    found = []
    for name, shot in stage.find_all("shot").items():
        check_name("The shot's name", name)  # a .blend from elsewhere may contain any name
        path = stage.out / "pictures" / f"{name}.png"
        if path.is_file():
            found.append((int(shot.get("bozzetto_order", 0)), name, path, shot))
    return [Still(name, path, shot) for _, name, path, shot in sorted(found, key=lambda entry: entry[:2])]


def words_of(stage: Stage, settings: Settings, still: str = "") -> PictureWords:
    """The metadata of the copies."""
    return PictureWords(
        title=settings.title or stage.sheet.name, maker=settings.maker, credit=settings.credit, rights=settings.rights,
        licence=settings.licence, accession=settings.accession, material=settings.material, shot=still,
    )  # fmt: skip


def write_copies(stage: Stage, settings: Settings) -> Generator[Progress, None, list[tuple[str, str]]]:
    """Write the copies; returns (path in the job's folder, description) of each."""
    assert stage.out is not None
    if settings.pictures == "none":
        if settings.crops or settings.scale_bar:
            stage.warn("Crops and scale bar are for copies, and no copies were asked for: choose a format in pictures")
        return []
    template, crops, stills = template_of(settings), crops_of(settings), stills_of(stage)
    if settings.pictures == "exr":
        if stage.sheet["render"].mark:
            stage.warn("OpenEXR copies can bear no watermark, so none are made of a proof that has one")
            return []
        crops = [(WHOLE, None)]
    job = stage.sheet.name
    tasks = [
        (still, aspect, filled("export.names", template, {"job": job, "shot": still.name, "number": number, "crop": crop}))
        for number, still in enumerate(stills, 1)
        for crop, aspect in crops
    ]
    alone = _cutouts(stage, settings, stills)
    check_apart("export.names", [*(title for _, _, title in tasks), *(title for _, _, title in alone)])
    check_free([stage.out / FOLDER / f"{title}{SUFFIX[settings.pictures]}" for _, _, title in tasks])
    check_free([stage.out / FOLDER / f"{title}.png" for _, _, title in alone])
    own_files = MadeFiles.around(stage.out / FOLDER / "x")
    written: list[tuple[str, str]] = []
    grown: list[tuple[Still, Copy]] = []
    remarks: list[str] = []
    for place, (still, aspect, title) in enumerate(tasks):
        yield Progress(0.3 + 0.6 * place / len(tasks), f"copy {title} ({place + 1} of {len(tasks)})", blocking=True)
        copy = write_copy(
            still.path, stage.out / FOLDER / title, _wanted(stage, settings, aspect, still),
            field_width_mm=field_width(still.shot), subject=subject_box(stage, still.shot),
            original=own_files is None or not own_files.changed(still.path),
        )  # fmt: skip
        remarks += [words for words in copy.remarks if words not in remarks]
        if copy.grown > GROWN:
            grown.append((still, copy))
        size = f"{copy.size[0]} x {copy.size[1]} px" if any(copy.size) else "linear light"
        written.append((f"{FOLDER}/{copy.path.name}", f"{still.name}, {size}"))
    for still, cutout, title in alone:
        target = stage.out / FOLDER / f"{title}.png"
        write_bytes(
            target, labelled(cutout.read_bytes(), Labels(dpi=settings.dpi, words=words_of(stage, settings, still.name)))
        )
        written.append((f"{FOLDER}/{target.name}", f"{still.name}, {ALONE}"))
    for words in remarks:
        stage.warn(words)
    _tell_of_grown(stage, grown, len(tasks))
    return written


def _cutouts(stage: Stage, settings: Settings, stills: Sequence[Still]) -> list[tuple[Still, Path, str]]:
    """(still, its cut-out, file name of the copy) of each cut-out that is handed over."""
    found = []
    for number, still in enumerate(stills, 1):
        cutout = cutout_to_hand_over(stage, still)
        if cutout is not None:
            parts: dict[str, str | int] = {"job": stage.sheet.name, "shot": still.name, "number": number, "crop": CUTOUT}
            name = settings.names if "{crop" in settings.names else f"{settings.names}_{{crop}}"
            found.append((still, cutout, filled("export.names", name, parts)))
    return found


def cutout_to_hand_over(stage: Stage, still: Still) -> Path | None:
    """A still's cut-out, where one was asked for and is there, with a proof's watermark if it must have one."""
    asked, path = stage.sheet["render"], cutout_of(still.path)
    return path if asked.cutouts and path.is_file() and (not asked.mark or is_marked(path)) else None


def tell_of_old(stage: Stage, files: Sequence[tuple[str, str]]) -> None:
    """Warn of copies of an earlier run that are older than the stills. files: (path, description) of the present ones."""
    assert stage.out is not None
    rendered = [still.path.stat().st_mtime for still in stills_of(stage)]
    there = {place for place, _ in files}
    old = [
        path.name
        for path in sorted((stage.out / FOLDER).glob("[!.]*"))
        if f"{FOLDER}/{path.name}" not in there and path.stat().st_mtime < max(rendered, default=0.0)
    ]
    if old:
        stage.warn(
            f"{several(len(old), 'file')} of an earlier run in {FOLDER} may show an earlier state, such as {old[0]}: delete "
            "what you do not hand over"
        )


def _tell_of_grown(stage: Stage, grown: list[tuple[Still, Copy]], count: int) -> None:
    """Give one warning for all copies that are larger than the render."""
    if not grown:
        return
    still, most = max(grown, key=lambda pair: pair[1].grown)
    rendered = check_picture(still.path)
    side = math.ceil(max(rendered.width, rendered.height) * most.grown / 10) * 10
    stage.warn(
        f"{len(grown)} of {count} copies are larger than what was rendered ({most.path.name} {most.grown:.1f} times), and hold "
        f"no more detail for it: set render.size to {side} to get that"
    )


def missing_mark(stage: Stage, picture: Path) -> str:
    """The watermark that a picture of an earlier run should have and lacks; '' for none."""
    mark = str(stage.sheet["render"].mark)
    return "" if not mark or is_marked(picture) else mark


def _wanted(stage: Stage, settings: Settings, aspect: float | None, still: Still) -> Wanted:
    return Wanted(
        kind=settings.pictures, width=settings.width, print_width_mm=settings.print_width, dpi=settings.dpi, aspect=aspect,
        scale_bar=settings.scale_bar, credit=settings.credit, watermark=missing_mark(stage, still.path),
        labels=Labels(GAMUTS[settings.profile], settings.dpi, words_of(stage, settings, still.name)),
    )  # fmt: skip


def field_width(shot: bpy.types.Object) -> float:
    """Width of the shot's field of view at its plane of focus, mm."""
    width, height = (float(side) for side in shot["bozzetto_format"])
    size = tuple(shot.get("bozzetto_resolution", (3, 2)))  # a portrait or 4:3 picture uses only part of the sensor
    return frame_used(width, height, (size[0], size[1]))[0] / max(float(shot["bozzetto_magnification"]), 1e-9)


def subject_box(stage: Stage, shot: bpy.types.Object) -> Box | None:
    """The bounding box of piece and stand in a shot's picture; None where it is not known."""
    try:
        view = shot_view(shot, subject_points(stage))
    except KeyError:  # a camera of the user's own
        return None
    if not len(view.outline):
        return None
    places = 0.5 + 0.5 * view.outline / np.array(view.half_slopes)
    low, high = places.min(axis=0), places.max(axis=0)
    return Box(float(low[0]), float(1.0 - high[1]), float(high[0]), float(1.0 - low[1]))
