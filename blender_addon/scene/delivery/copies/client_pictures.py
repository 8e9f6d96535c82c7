"""Writes a copy of a still as the client needs it: size, crop, bit depth, profile, resolution, drawn marks, metadata."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from dataclasses import field
from pathlib import Path

from ....core.arrays import Pixels, Pixels16
from ....core.delivery.bits import in_gamut, to_numbers
from ....core.delivery.crop_window import Box, Window, crop_window
from ....core.delivery.marks import Mark, Tiled, lay, lay_tiled
from ....core.delivery.needs import copy_bytes, copy_size
from ....core.delivery.resampling import strips
from ....core.files.pictures.exr import without_words
from ....core.files.pictures.jpeg_labels import LARGEST_SIDE
from ....core.files.pictures.labels import Labels
from ....core.files.pictures.png_writer import write_png
from ....core.files.pictures.tiff_writer import write_tiff
from ....core.files.whole import damage
from ....core.records import record
from ....job.errors import OutputError
from ...running.session import whole_file, writes
from ..originals import linear_of, original_of, read_picture
from .drawn_marks import Sheet, credit_line, scale_bar, watermark
from .jpeg import write_jpeg

SUFFIX = {"png8": ".png", "png16": ".png", "tiff16": ".tif", "jpeg": ".jpg", "exr": ".exr"}
QUALITY = 93
"""Of JPEG copies, 1 to 100: above it files grow and no difference is seen (common practice)."""


@record
class Wanted:
    """The properties of a copy; lengths in mm. aspect: width over height. watermark: words repeated over the whole picture."""

    kind: str
    width: int | None = None
    print_width_mm: float | None = None
    dpi: int = 300
    aspect: float | None = None
    scale_bar: bool = False
    credit: str = ""
    watermark: str = ""
    labels: Labels = field(default_factory=Labels)

    @property
    def pixels(self) -> int | None:
        """The requested width in px; None keeps the still's own."""
        return self.width or (round(self.print_width_mm / 25.4 * self.dpi) if self.print_width_mm else None)


@record
class Copy:
    """A written copy. size: (width, height) in px. remarks: for the user. grown: enlargement over the render."""

    path: Path
    size: tuple[int, int]
    remarks: tuple[str, ...] = ()
    grown: float = 1.0


def write_copy(
    still: Path, target: Path, wanted: Wanted, *, field_width_mm: float, subject: Box | None = None, original: bool = True
) -> Copy:
    """Write a copy of a still beside `target` with the suffix of its kind.

    Parameters
    ----------
    field_width_mm : width of the field of view at the plane of focus, for the scale bar.
    subject : bounding box of the subject in the still, which no crop may cut.
    original : whether the still is unchanged since it was rendered, so that its 16-bit original shows the same.
    Raises OutputError when the still can't be read, the copy would not fit into memory, or it can't be written.
    """
    path = target.with_name(target.name + SUFFIX[wanted.kind])
    if wanted.kind == "exr":
        return _linear_copy(still, path, wanted)
    source = original_of(still) if original and original_of(still).is_file() else still
    picture = _read(source)
    have = (picture.shape[1], picture.shape[0])
    window = Window(0, 0, *have) if wanted.aspect is None else crop_window(have, wanted.aspect, subject)
    size = copy_size(window, wanted.pixels)
    _check_size(path, have, size, wanted.kind)
    remarks = _remarks(source is still and wanted.kind.endswith("16"), window, path.name)
    mm_a_pixel = field_width_mm / have[0] * window.size[0] / size[0]
    marks, more = _marks(Sheet(picture, window, size), mm_a_pixel, wanted)
    parts = _parts(picture, window, size, wanted, marks)
    _write(path, parts, size, wanted)
    return Copy(path, size, tuple([*remarks, *more]), size[0] / window.size[0])


def _read(source: Path) -> Pixels16:
    try:
        wrong = damage(source)
        if not wrong:
            return read_picture(source)
        wrong = f"it {wrong}"
    except (OSError, RuntimeError, ValueError) as error:
        wrong = getattr(error, "strerror", None) or str(error)
    raise OutputError(f'"{source}" can\'t be copied ({wrong}): run the render step again, which makes it again')


def _linear_copy(still: Path, path: Path, wanted: Wanted) -> Copy:
    """Copy the scene-linear original as it was rendered, with credit and rights in its header."""
    source = linear_of(still)
    if not source.is_file() or damage(source):
        raise OutputError(f'"{still.name}" has no original in linear light: run the render step again, which makes it')
    words = wanted.labels.words
    said = {"owner": words.rights or words.credit, "comments": words.description()} if words else {}
    data = without_words(source.read_bytes(), more={name: value for name, value in said.items() if value})
    with whole_file(path) as draft:
        draft.write_bytes(data)
    marked = wanted.aspect or wanted.pixels or wanted.scale_bar or wanted.credit or wanted.watermark
    remarks = (
        ["OpenEXR copies are the render itself in linear light: not cropped or resized, with nothing drawn on them"]
        if marked
        else []
    )
    return Copy(path, (0, 0), tuple(remarks))


def _check_size(path: Path, have: tuple[int, int], size: tuple[int, int], kind: str) -> None:
    """Raise OutputError where the copy would exceed the format's limits or the free memory."""
    if kind == "jpeg" and max(size) > LARGEST_SIDE:
        raise OutputError(
            f'"{path.name}" would be {size[0]} x {size[1]} px, and a JPEG file holds {LARGEST_SIDE} a side: use PNG'
        )
    need, free = copy_bytes(have, size, kind), _free_memory()
    if need > free:
        cure = (
            "choose PNG or TIFF, which are written in strips, or a smaller width" if kind == "jpeg" else "choose a smaller size"
        )
        raise OutputError(
            f'"{path.name}" of {size[0]} x {size[1]} px needs about {need / 1e9:.1f} GB of memory, and {free / 1e9:.1f} GB are '
            f"free: {cure}"
        )


def _free_memory() -> int:
    """Available memory in bytes, as Linux reports it; 4 GB on other systems."""
    try:
        with open("/proc/meminfo", encoding="ascii") as table:
            return next(int(line.split()[1]) * 1024 for line in table if line.startswith("MemAvailable"))
    except (OSError, StopIteration, ValueError):
        return 4_000_000_000


def _remarks(shallow: bool, window: Window, name: str) -> list[str]:
    remarks = []
    if shallow:
        remarks.append(
            f"{name} has 16-bit numbers but only the 8 bits of its still, whose original is not there or was changed by hand"
        )
    if window.band_x or window.band_y:
        where = "at the sides" if window.band_x else "above and below"
        remarks.append(
            f"{name}: this shape would cut the piece, so bands were added {where}; a shot of that width and height has none"
        )
    return remarks


def _marks(sheet: Sheet, mm_a_pixel: float, wanted: Wanted) -> tuple[list[Mark | Tiled], list[str]]:
    """The marks to be drawn, and remarks on those that do not fit."""
    marks: list[Mark | Tiled] = [watermark(sheet, wanted.watermark)] if wanted.watermark.strip() else []
    taken, remark = 0, ""
    if wanted.scale_bar:
        drawn, taken = scale_bar(sheet, mm_a_pixel)
        marks += drawn
    if wanted.credit.strip():
        drawn, remark = credit_line(sheet, wanted.credit.strip(), taken)
        marks += drawn
    return marks, [remark] if remark else []


def _parts(
    picture: Pixels, window: Window, size: tuple[int, int], wanted: Wanted, marks: list[Mark | Tiled]
) -> Iterator[Pixels]:
    """The copy strip by strip, as 8- or 16-bit values."""
    bits = 16 if wanted.kind.endswith("16") else 8
    for first, strip in strips(picture, window, size):
        for mark in marks:
            if isinstance(mark, Tiled):
                lay_tiled(strip, first, mark)
            else:
                lay(strip, first, [mark])
        yield to_numbers(in_gamut(strip, wanted.labels.gamut), bits, first=first)


def _write(path: Path, parts: Iterator[Pixels], size: tuple[int, int], wanted: Wanted) -> None:
    labels = Labels(wanted.labels.gamut, wanted.dpi, wanted.labels.words)
    with whole_file(path) as draft:
        try:
            if wanted.kind == "jpeg":
                with writes(path):
                    _write_jpeg(draft, parts, size, labels)
                return
            with draft.open("w+b") as file:
                writer = write_tiff if wanted.kind == "tiff16" else write_png
                writer(file, parts, size, labels)
        except ValueError as error:
            raise OutputError(f'"{path}" can\'t be written: {error}') from None


def _write_jpeg(draft: Path, parts: Iterator[Pixels], size: tuple[int, int], labels: Labels) -> None:
    """Write a temporary PNG, from which Blender writes the JPEG; this takes four bytes per pixel of memory."""
    with tempfile.TemporaryDirectory() as folder:
        between = Path(folder) / "copy.png"
        with between.open("wb") as file:
            write_png(file, parts, size, Labels())
        write_jpeg(between, draft, quality=QUALITY, labels=labels)
