"""Writes the contact sheet: finished pictures laid out in rows, with a caption under each."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import numpy as np

from ...core.arrays import Floats
from ...core.delivery.contact_sheet import Place, compose, layout
from ...core.delivery.marks import DARK, Mark, lay
from ...core.files.pictures.labels import Labels
from ...core.files.pictures.png_writer import write_png
from ..running.session import whole_file
from .copies.lettering import line_mask, line_width
from .originals import read_picture

MARGIN, CAPTION, ROW = 24, 26, 300
"""Gap, height of a caption and of a row, px."""
LETTERS = 11.0
"""Height of a capital in a caption, px."""


def write_contact_sheet(pictures: Sequence[tuple[Path, str]], path: Path, *, width: int = 1600) -> None:
    """Lay out picture files with their captions and write the sheet, whole or not at all."""
    loaded = [read_picture(picture) / np.float32(65535.0) for picture, _ in pictures]
    places, size = layout(
        [picture.shape[1] / picture.shape[0] for picture in loaded], width=width, margin=MARGIN, caption=CAPTION, row_height=ROW
    )
    sheet = compose(loaded, places, size)
    lay(sheet, 0, [_caption(place, words) for place, (_, words) in zip(places, pictures, strict=True) if words.strip()])
    with whole_file(path) as draft:
        save_png(sheet, draft)


def save_png(picture: Floats, path: Path) -> None:
    """Write (h, w, 3) display-encoded values, row 0 at the top, as an 8-bit PNG with a colour profile."""
    numbers = np.rint(np.clip(picture, 0.0, 1.0) * 255.0).astype(np.uint8)
    with path.open("wb") as file:
        write_png(file, [numbers], (numbers.shape[1], numbers.shape[0]), Labels())


def _caption(place: Place, words: str) -> Mark:
    while len(words) > 4 and line_width(words, LETTERS) > place.width:
        words = words[:-2].rstrip() + "…"
    mask = line_mask(words, LETTERS)[: CAPTION + MARGIN]
    return Mark(place.x, place.y + place.height + 4, mask, DARK)
