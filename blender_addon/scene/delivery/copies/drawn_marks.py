"""Draws marks on a copy: a scale bar at the bottom left, the credit at the bottom right, a watermark over all of it."""

from __future__ import annotations

import numpy as np

from ....core.arrays import Floats, Pixels
from ....core.delivery.crop_window import Window
from ....core.delivery.marks import Mark, Tiled, slanted, tiled, tone_on, with_halo
from ....core.delivery.scale_bar import bar_length
from ....core.records import record
from .lettering import line_mask, line_width

LETTERS, LEAST_LETTERS = 0.016, 9.0
"""Capital height over the picture's shorter side, and the least legible one in px (guesses, checked by eye)."""
EDGE, LIFT, FOOT = 1.8, 4.2, 0.44
"""In capital heights: margin at the picture's edge, how far the credit is raised above a scale bar in its way, height of a
line's mask below the baseline."""
BAR = 0.25
"""Longest scale bar, as a share of the picture's width."""
WATERMARK, TALLEST_WATERMARK, STRENGTH = 0.045, 200.0, 0.28
"""A watermark's letter height over the picture's width, the largest drawn in px (larger ones are scaled up), its opacity."""
ROOM = 0.94
"""Longest line of text, as a share of the picture's width."""


@record
class Sheet:
    """The copy to draw on: the 16-bit original (h, w, 3), None where no mark needs its tone; the window of it that is shown;
    and the copy's size in px."""

    picture: Pixels | None
    window: Window
    size: tuple[int, int]

    @property
    def letters(self) -> float:
        """Capital height on this copy, px."""
        return max(LEAST_LETTERS, LETTERS * min(self.size))

    def tone(self, x: int, y: int, mask: Floats) -> float:
        """The legible tone (light or dark) for a mask with its top left corner at (x, y) px."""
        factor = self.window.size[0] / self.size[0]
        left = self.window.x - self.window.band_x + int(x * factor)
        top = self.window.y - self.window.band_y + int(y * factor)
        height, width = (int(side * factor) + 1 for side in mask.shape)
        part = self.picture[max(0, top) : max(0, top + height), max(0, left) : max(0, left + width)]
        return tone_on(part / 65535.0 if part.size else np.zeros((1, 1, 3)))

    def put(self, mask: Floats, x: int, y: int, letters: float, tone: float | None = None) -> list[Mark]:
        """The marks of a mask and its halo.

        mask: (h, w) 0 to 1. x, y: px of its top left corner. letters: height of its letters, px. tone: 0 dark or 1 light; None:
        what is legible.
        """
        return with_halo(mask, x, y, self.tone(x, y, mask) if tone is None else tone, reach=max(1, round(letters / 5)))


def scale_bar(sheet: Sheet, mm_a_pixel: float) -> tuple[list[Mark], int]:
    """The marks of a bar of a round number of millimetres with its length above, and the width in px that they occupy."""
    width, height = sheet.size
    letters = sheet.letters
    length = bar_length(BAR * width * mm_a_pixel)
    bar = np.ones((max(3, round(letters / 4)), round(length / mm_a_pixel)), np.float32)
    x, y = round(EDGE * letters), height - round(EDGE * letters) - len(bar)
    tone = sheet.tone(x, y, bar)
    words = line_mask(f"{length:g} mm", letters)
    marks = sheet.put(bar, x, y, letters, tone)
    above = y - len(bar) - len(words)
    if above > 0:
        marks += sheet.put(words, x, above, letters, tone)
    return marks, x + max(bar.shape[1], words.shape[1]) + x


def credit_line(sheet: Sheet, words: str, taken: int) -> tuple[list[Mark], str]:
    """The marks of the credit, and a remark where it does not fit. taken: width in px occupied at the bottom left."""
    width, height = sheet.size
    letters = sheet.letters
    edge = round(EDGE * letters)
    while letters > LEAST_LETTERS and line_width(words, letters) > ROOM * width:
        letters = max(LEAST_LETTERS, 0.9 * letters)
    mask = line_mask(words, letters)
    edge = min(edge, max(2, (width - mask.shape[1]) // 2))
    if mask.shape[1] > ROOM * width or mask.shape[0] + edge > height:
        return [], f"the credit does not fit on a copy of {width} x {height} px, so it is not drawn; its words are in the file"
    lift = round(LIFT * letters) if taken and mask.shape[1] + edge + taken > width else 0
    y = height - edge - mask.shape[0] + round(FOOT * letters) - lift
    return sheet.put(mask, width - edge - mask.shape[1], y, letters), ""


def watermark(sheet: Sheet, words: str) -> Tiled:
    """Words repeated over the whole copy."""
    wanted = WATERMARK * sheet.size[0]
    mask = line_mask(words, min(TALLEST_WATERMARK, wanted + 8.0))
    mask = mask[mask.any(axis=1)] if mask.any() else mask
    scale = max(1.0, wanted / TALLEST_WATERMARK)
    return tiled(slanted(mask, air=1.5), scale, STRENGTH, reach=max(1, mask.shape[0] // 12))
