"""How is a folder of photographs read? Blender decodes one after the other; what is kept of each is worked out in threads.

Decoding is Blender's and stays on the main thread (0.2 s of a 12-megapixel JPEG); edges and small pictures are numpy's and run
beside it. Files are opened for reading alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from ...core.files.meshes.ply import FileProblem
from ...core.files.pictures.exif import Exif, read_exif
from ...core.files.pictures.picture_files import looks_whole
from ...core.files.pictures.picture_headers import check_picture
from ...core.photos.folder_content import Other, in_order, natural, why_not
from ...core.photos.seen import Photo, seen
from ...core.records import record
from ...core.threads import in_parallel
from ...job.errors import InputError
from ..running.captured import captured

HEAD = 1 << 18
"""Bytes of a file that its labels lie in."""
MOST_PHOTOS = 1500
"""At 1.2 MB that are kept of each, 1.8 GB."""
MOST_PIXELS = 120e6
"""More than any phone's photo: such a picture takes 2 GB while it is read."""


@record
class Source:
    """A picture file and its labels."""

    path: Path
    exif: Exif


@dataclass
class Folder:
    """What lies in a folder: photos to be judged in the order taken, other files."""

    sources: list[Source] = field(default_factory=list)
    others: list[Other] = field(default_factory=list)


def folder_of(path: Path) -> Folder:
    """The photos of a folder and what else is there. Raises InputError when it is no folder, holds none, or too many."""
    if not path.is_dir():
        there = "is a file, not a folder" if path.exists() else "is not there"
        raise InputError(f'The folder of photos "{path}" {there}: name the folder that the photos were copied to')
    found = Folder()
    try:
        entries = sorted((entry for entry in path.iterdir() if entry.is_file()), key=lambda entry: natural(entry.name))
    except OSError as error:
        raise InputError(f'The folder of photos "{path}" can\'t be read ({error.strerror}): check its permissions') from None
    for entry in entries:
        _sorted_in(found, entry)
    if len(found.sources) > MOST_PHOTOS:
        raise InputError(
            f'"{path}" holds {len(found.sources):,} photos, more than the {MOST_PHOTOS:,} that are judged at once: split it'
        )
    order = in_order([(source.path.name, source.exif) for source in found.sources])
    found.sources = [found.sources[number] for number in order]
    if not found.sources:
        raise InputError(_none(path, found.others))
    return found


def _none(path: Path, others: list[Other]) -> str:
    reasons = [remark for remark in others if remark.why != "no picture"]
    if reasons:
        return f'"{path}" holds no photo that can be judged. "{reasons[0].name}": {reasons[0].why}'
    return f'"{path}" holds no photo (JPEG, PNG, TIFF, WebP): copy the photos there, not in a folder below it'


def _sorted_in(found: Folder, entry: Path) -> None:
    """Put one file where it belongs; what can't be opened is named with the reason."""
    try:
        with entry.open("rb") as file:
            head = file.read(HEAD)
        why = why_not(entry.name, head)
        if why is None:
            size = check_picture(entry)
            if size.width * size.height > MOST_PIXELS:
                raise FileProblem(f"{size.width} x {size.height} pixels are more than a photo has")
            found.sources.append(Source(entry, read_exif(head)))
            return
    except FileProblem as problem:
        why = str(problem)
    except OSError as error:
        why = f"it can't be opened ({error.strerror})"
    if why:
        found.others.append(Other(entry.name, why))


def photos_of(folder: Folder) -> Iterator[Photo | Other]:
    """What is kept of each photo, in order; for one that can't be read what is wrong with it."""
    reader = _Reader()
    yield from in_parallel(_worked_out, (reader.read(source) for source in folder.sources))


def _worked_out(read: tuple[Source, Any] | Other) -> Photo | Other:
    if isinstance(read, Other):
        return read
    source, pixels = read
    return seen(source.path.name, pixels, source.exif)


class _Reader:
    """Decodes pictures through one buffer, which a photo of the same size uses again: new memory costs as much as decoding."""

    def __init__(self) -> None:
        self._values = np.zeros(0, np.float32)

    def read(self, source: Source) -> tuple[Source, Any] | Other:
        """A photo's (h, w, 3) values of 8 bits, row 0 on top, as stored."""
        name = source.path.name
        try:
            if not looks_whole(source.path.read_bytes(), source.path.suffix):
                return Other(name, "it is cut off: copy it from the phone again")
            with captured():
                image = bpy.data.images.load(str(source.path), check_existing=False)
        except (OSError, RuntimeError):
            return Other(name, "it can't be read: copy it from the phone again")
        try:
            with captured():
                width, height = image.size[0], image.size[1]
                pixels = self._pixels(image, width, height) if width and height else None
        finally:
            bpy.data.images.remove(image)
        return Other(name, "it is damaged: copy it from the phone again") if pixels is None else (source, pixels)

    def _pixels(self, image: bpy.types.Image, width: int, height: int) -> Any:
        count = width * height * 4
        if len(self._values) != count:
            self._values = np.zeros(count, np.float32)
        image.pixels.foreach_get(self._values)
        whole = self._values.reshape(height, width, 4)
        made = np.zeros((height, width, 3), np.uint8)
        for row in range(0, height, 256):  # in parts that stay in the processor's own memory
            part = np.clip(whole[row : row + 256, :, :3], 0.0, 1.0)
            made[height - row - len(part) : height - row] = (part[::-1] * np.float32(255.0) + np.float32(0.5)).astype(np.uint8)
        return made
