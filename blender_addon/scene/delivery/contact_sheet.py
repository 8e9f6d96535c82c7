"""The contact sheet as a file: finished pictures laid out, with a caption under each."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Any

import blf
import bpy
import imbuf
import numpy as np

from ...core.delivery.contact_sheet import Place, compose, layout
from ..images import read_pixels
from ..session import whole_file, writes

MARGIN, CAPTION, ROW = 24, 26, 300


def write_contact_sheet(pictures: Sequence[tuple[Path, str]], path: Path, *, width: int = 1600) -> None:
    """Lay out picture files with their captions; whole or not at all."""
    loaded = [_load(picture) for picture, _ in pictures]
    places, size = layout(
        [one.shape[1] / one.shape[0] for one in loaded], width=width, margin=MARGIN, caption=CAPTION, row_height=ROW
    )
    sheet = compose(loaded, places, size)
    with whole_file(path) as draft:
        with writes(path):
            save_png(sheet, draft)
            _caption(draft, [(place, words) for place, (_, words) in zip(places, pictures, strict=True)], size)


def _load(path: Path) -> Any:
    image = bpy.data.images.load(str(path))
    try:
        return read_pixels(image)[::-1, :, :3]
    finally:
        bpy.data.images.remove(image)


def save_png(picture: Any, path: Path) -> None:
    """An 8-bit PNG from (h, w, 3) display-encoded values, row 0 at the top."""
    height, width = picture.shape[:2]
    image = bpy.data.images.new("bozzetto sheet", width, height)
    try:
        full = np.ones((height, width, 4), np.float32)
        full[..., :3] = picture[::-1]
        image.pixels.foreach_set(full.ravel())
        image.filepath_raw, image.file_format = str(path), "PNG"
        image.save()
    finally:
        bpy.data.images.remove(image)


def _caption(path: Path, captions: Sequence[tuple[Place, str]], size: tuple[int, int]) -> None:
    buffer = imbuf.load(str(path))
    font = 0
    with blf.bind_imbuf(font, buffer, display_name="sRGB"):
        blf.size(font, 15)
        blf.color(font, 0.02, 0.02, 0.02, 1.0)
        for place, words in captions:
            shown = _shortened(font, words, place.width)
            blf.position(font, place.x, size[1] - place.y - place.height - CAPTION + 7, 0)
            blf.draw_buffer(font, shown)
    imbuf.write(buffer, filepath=str(path))
    buffer.free()


def _shortened(font: int, words: str, room: int) -> str:
    while len(words) > 4 and blf.dimensions(font, words)[0] > room:
        words = words[:-2].rstrip() + "…"
    return words
