"""Draws words by Blender's own font, as a mask of the coverage of each pixel."""

from __future__ import annotations

import tempfile
from pathlib import Path

import bpy  # a wheel knows the others only once this is there
import numpy as np

# isort: split
import blf
import imbuf

from ....core.arrays import Floats
from ...images import read_pixels

FONT = 0
"""The number of Blender's own font."""
TALLEST = 400
"""The largest font size that is drawn, px; larger lettering is scaled up from it."""


def line_mask(words: str, height: float) -> Floats:
    """(h, w) coverage, 0 to 1, of a line of words with capitals of about `height` px.

    The mask is as wide as the words and as high as the font's tallest letter, so that lines of one height share one baseline.
    The words must not be empty.
    """
    size = min(height / 0.72, TALLEST)  # capital height over font size, measured on the font
    grown = height / 0.72 / size
    blf.size(FONT, size)
    width = max(1, int(np.ceil(blf.dimensions(FONT, words)[0])) + 2)
    tall, foot = int(np.ceil(1.3 * size)), int(np.ceil(0.32 * size))
    buffer = imbuf.new((width, tall))
    try:
        with blf.bind_imbuf(FONT, buffer, display_name="sRGB"):
            blf.color(FONT, 1.0, 1.0, 1.0, 1.0)
            blf.position(FONT, 1, foot, 0)
            blf.draw_buffer(FONT, words)
        mask = _pixels(buffer)
    finally:
        buffer.free()
    return mask if grown <= 1.0 else _grown(mask, grown)


def line_width(words: str, height: float) -> float:
    """The width of a line, px."""
    size = min(height / 0.72, TALLEST)
    blf.size(FONT, size)
    return float(blf.dimensions(FONT, words)[0]) * (height / 0.72 / size)


def _pixels(buffer: imbuf.types.ImBuf) -> Floats:
    """(h, w) coverage of each pixel of a buffer, the top row first; read through a file, for older releases."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "line.png"
        imbuf.write(buffer, filepath=str(path))
        image = bpy.data.images.load(str(path))
        try:
            image.colorspace_settings.name = "Non-Color"
            return read_pixels(image)[::-1, :, 3].copy()
        finally:
            bpy.data.images.remove(image)


def _grown(mask: Floats, factor: float) -> Floats:
    """The mask enlarged by bilinear interpolation."""
    for axis in (0, 1):
        length = mask.shape[axis]
        places = np.clip((np.arange(round(length * factor)) + 0.5) / factor - 0.5, 0, length - 1)
        low = np.minimum(places.astype(int), max(length - 2, 0))
        part = (places - low).reshape([-1 if a == axis else 1 for a in (0, 1)]).astype(np.float32)
        mask = np.take(mask, low, axis) * (1 - part) + np.take(mask, np.minimum(low + 1, length - 1), axis) * part
    return mask
