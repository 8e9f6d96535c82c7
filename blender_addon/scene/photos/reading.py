"""How is a folder of photographs read? Blender decodes one after the other; each is reduced to its measures in a thread.

Decoding uses Blender and stays on the main thread (0.2 s for a 12-megapixel JPEG); measuring uses numpy and runs in parallel.
Files are opened only for reading.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import bpy
import numpy as np

from ...core.arrays import Pixels8
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
"""Bytes read from the start of a file, which contain its metadata."""
MOST_PHOTOS = 1500
"""Limit of memory: 1.2 MB are kept per photo, 1.8 GB in all."""
MOST_PIXELS = 120e6
"""Larger than a phone's photo; a picture of this size takes 2 GB while it is read."""


@record
class Source:
    """A picture file and its EXIF metadata."""

    path: Path
    exif: Exif


@dataclass
class Folder:
    """The content of a folder: photos in the order taken, and other files with the reason why they are not photos."""

    sources: list[Source] = field(default_factory=list)
    others: list[Other] = field(default_factory=list)


def folder_of(path: Path) -> Folder:
    """The photos and other files of a folder. Raises InputError when it is not a folder, has no photos, or too many."""
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
    """Add one file to the photos, or to the other files with the reason."""
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
    """The measures of each photo, in order; for one that can't be read the reason."""
    reader = _Reader()
    yield from in_parallel(_measured, (reader.read(source) for source in folder.sources))


def _measured(read: tuple[Source, Pixels8] | Other) -> Photo | Other:
    if isinstance(read, Other):
        return read
    source, pixels = read
    return seen(source.path.name, pixels, source.exif)


class _Reader:
    """Decodes pictures through one buffer, reused for photos of the same size: allocation takes as long as decoding."""

    def __init__(self) -> None:
        self._values = np.zeros(0, np.float32)

    def read(self, source: Source) -> tuple[Source, Pixels8] | Other:
        """The photo and its (h, w, 3) 8-bit values as stored, row 0 on top; where it can't be read, the reason."""
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

    def _pixels(self, image: bpy.types.Image, width: int, height: int) -> Pixels8:
        count = width * height * 4
        if len(self._values) != count:
            self._values = np.zeros(count, np.float32)
        image.pixels.foreach_get(self._values)
        whole = self._values.reshape(height, width, 4)
        pixels = np.zeros((height, width, 3), np.uint8)
        for row in range(0, height, 256):  # in parts that fit into the processor's cache
            part = np.clip(whole[row : row + 256, :, :3], 0.0, 1.0)
            pixels[height - row - len(part) : height - row] = (part[::-1] * np.float32(255.0) + np.float32(0.5)).astype(
                np.uint8
            )
        return pixels
