"""What is kept of one photograph after reading it? Small pictures and its edges, so that a set of 300 fits in memory."""

from __future__ import annotations

import numpy as np

from ..arrays import Pixels8
from ..files.pictures.exif import Exif, as_held
from ..records import record
from .edges import Edges, edges_of

MIDDLE = 1024
"""Longest side of the picture by which neighbours are compared."""
SMALL = 96
"""Longest side of the picture in which the piece is searched."""
THUMB = 256
"""Longest side of the picture on the page."""


@record
class Photo:
    """One photograph, turned upright by its tag.

    name: its file's name. size: (width, height) as stored. exif: its labels. edges: of the full picture, places as shares of
    width and height (0 to 1) after turning. middle: (h, w) grey, `MIDDLE` at the longest. small: (h, w, 3) means, `SMALL` or
    a little more at the longest. thumb: (h, w, 3), `THUMB` at the longest. bright, dark: (h, w) as small, share of pixels,
    in 255ths, that are at the upper end in some channel, or black in all.
    """

    name: str
    size: tuple[int, int]
    exif: Exif
    edges: Edges
    middle: Pixels8
    small: Pixels8
    thumb: Pixels8
    bright: Pixels8
    dark: Pixels8


TOP, BOTTOM = 252, 5
"""A channel counts as clipped from the first level up; a pixel as black with all three at most at the second. JPEG moves both
by a level or two (common practice)."""


def seen(name: str, pixels: Pixels8, exif: Exif) -> Photo:
    """What is kept of a picture (h, w, 3) of 8 bits, row 0 on top, as stored."""
    height, width = pixels.shape[:2]
    grey = grey_of(pixels)
    edges = turned_edges(edges_of(grey), (width, height), exif.orientation)
    step = max(1, -(-max(width, height) // MIDDLE))
    middle = as_held(_means(grey, step), exif.orientation)
    block = max(1, max(width, height) // SMALL)
    # edges need every pixel; for colour and clipping one in four each way is enough
    thin = pixels[:: min(4, block), :: min(4, block)]
    cell = max(1, max(thin.shape[:2]) // SMALL)
    small = np.stack([_means(thin[..., k], cell) for k in range(3)], axis=2)
    bright = _means((thin >= TOP).any(axis=2).astype(np.uint8) * np.uint8(255), cell)
    dark = _means((thin <= BOTTOM).all(axis=2).astype(np.uint8) * np.uint8(255), cell)
    fine = max(1, -(-max(thin.shape[:2]) // THUMB))
    thumb = np.stack([_means(thin[..., k], fine) for k in range(3)], axis=2)
    small, thumb, bright, dark = (as_held(picture, exif.orientation) for picture in (small, thumb, bright, dark))
    return Photo(name, (width, height), exif, edges, middle, small, thumb, bright, dark)


def grey_of(pixels: Pixels8) -> Pixels8:
    """(h, w) of 8 bits: Rec. 709's luma (0.2126, 0.7152, 0.0722) in 256ths, of the values as they are displayed."""
    total = pixels[..., 0] * np.uint16(54)
    total += pixels[..., 1] * np.uint16(184)
    total += pixels[..., 2] * np.uint16(18)
    return (total >> 8).astype(np.uint8)


def _means(values: Pixels8, step: int) -> Pixels8:
    """Means of fields of step x step; what does not fill a field at the far edges is left out."""
    if step == 1:
        return np.ascontiguousarray(values)
    down, right = max(1, values.shape[0] // step), max(1, values.shape[1] // step)
    even = values[: down * step, : right * step]
    rows = np.add.reduceat(even, np.arange(0, len(even), step), axis=0, dtype=np.uint32)
    both = np.add.reduceat(rows, np.arange(0, rows.shape[1], step), axis=1)
    return (both // np.uint32(step * step)).astype(np.uint8)


def turned_edges(edges: Edges, size: tuple[int, int], orientation: int) -> Edges:
    """Edges with their places as shares of the upright picture, and their directions turned with it."""
    x, y, angle = edges.x / max(size[0], 1), edges.y / max(size[1], 1), edges.angle
    if orientation in (5, 6, 7, 8):
        x, y, angle = y, x, np.pi / 2 - angle
    if orientation in (3, 4, 7, 8):
        y, angle = 1.0 - y, -angle
    if orientation in (2, 3, 6, 7):
        x, angle = 1.0 - x, np.pi - angle
    return Edges(x, y, edges.width, np.mod(angle, np.pi), edges.rise, edges.noise)
