"""Puts the watermark on proofs: it is drawn into the picture's only file, and no file without it is left in the folder."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Iterator
from pathlib import Path

import bpy
import numpy as np

from ....core.delivery.bits import to_numbers
from ....core.delivery.crop_window import Window
from ....core.delivery.marks import lay_tiled
from ....core.files.pictures.labels import Labels
from ....core.files.pictures.png_writer import write_png
from ....job.files.made_files import MadeFiles
from ....job.files.whole_files import whole_file
from ...images import read_pixels
from ..originals import linear_of, original_of
from .drawn_marks import Sheet, watermark

MARKED = " marked"
"""Suffix of a watermarked picture's digest in the list of files made."""


def is_marked(picture: Path) -> bool:
    """Whether the list of files made says that a picture has a watermark, and the file is unchanged since."""
    listed = MadeFiles.around(picture)
    return listed is not None and (listed.shows(picture) or "").endswith(MARKED) and not listed.changed(picture)


@contextlib.contextmanager
def marked(target: Path, words: str) -> Iterator[Path]:
    """The path to render a picture to: `target` itself, or a temporary file, over which `words` are then drawn.

    The picture without the words is never in the job's folder.
    """
    if not words:
        yield target
        return
    with tempfile.TemporaryDirectory() as folder:
        bare = Path(folder) / target.parent.name / target.name
        bare.parent.mkdir()
        yield bare
        write_marked(bare, target, words)


def write_marked(source: Path, target: Path, words: str) -> None:
    """Write the picture file `source` (PNG, 8 bits per channel) to `target` with words all over it, whole or not at all.

    Originals of an earlier picture without the words are removed.
    """
    image = bpy.data.images.load(str(source))
    try:
        image.colorspace_settings.name, image.alpha_mode = "Non-Color", "CHANNEL_PACKED"
        channels = 4 if image.depth == 32 else 3
        pixels = np.ascontiguousarray(read_pixels(image)[::-1, :, :channels])
    finally:
        bpy.data.images.remove(image)
    height, width = pixels.shape[:2]
    colours = pixels[..., :3]
    lay_tiled(colours, 0, watermark(Sheet(None, Window(0, 0, width, height), (width, height)), words))
    with whole_file(target) as draft, draft.open("wb") as file:
        write_png(file, [to_numbers(pixels, 8).astype(np.uint8)], (width, height), Labels())
    for old in (original_of(target), linear_of(target)):
        old.unlink(missing_ok=True)
