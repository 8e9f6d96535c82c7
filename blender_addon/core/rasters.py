"""How is a raster read between pixel centres? By the nearest pixel, or bilinearly from the four round the place."""

from __future__ import annotations

import numpy as np

from .arrays import Floats, Ints

STRIP = 256
"""Rows that are read at a time, to bound memory."""


def nearest_pixel(place: Floats, shape: tuple[int, ...]) -> tuple[Ints, Ints]:
    """(n,) rows and (n,) columns of the pixels that hold places (n, 2), each 0 to 1 across and along the first axis.

    shape: of the raster, (height, width, ...). Places beyond its end go to its last pixel.
    """
    column, row = (np.clip((place[:, axis] * shape[1 - axis]).astype(np.int64), 0, shape[1 - axis] - 1) for axis in (0, 1))
    return row, column


def repeated_pixel(uv: Floats, shape: tuple[int, ...]) -> tuple[Ints, Ints]:
    """(n,) rows and (n,) columns of the pixels at UVs (n, 2) of a picture of a shape that repeats outside 0 to 1."""
    return nearest_pixel(uv - np.floor(uv), shape)


def colours_at(picture: Floats, uv: Floats) -> Floats:
    """(n, 3) the pixels of a picture (height, width, 3 or more) nearest to UVs (n, 2); UVs outside 0 to 1 repeat."""
    return picture[(*repeated_pixel(uv, picture.shape), slice(3))].astype(float)


def bilinear(raster: Floats, x: Floats, y: Floats) -> Floats:
    """(n,) values of a raster (height, width) at x, y (n,) in texels from the centre of the first; its border is repeated."""
    height, width = raster.shape
    x, y = np.clip(x, 0, width - 1), np.clip(y, 0, height - 1)
    column, row = np.minimum(x.astype(np.int64), max(width - 2, 0)), np.minimum(y.astype(np.int64), max(height - 2, 0))
    right, up = x - column, y - row
    next_column, next_row = np.minimum(column + 1, width - 1), np.minimum(row + 1, height - 1)
    lower = raster[row, column] * (1 - right) + raster[row, next_column] * right
    upper = raster[next_row, column] * (1 - right) + raster[next_row, next_column] * right
    return lower * (1 - up) + upper * up


def resized(raster: Floats, shape: tuple[int, int]) -> Floats:
    """(h, w) float32 a raster at another shape (h, w), read bilinearly at the new pixels' centres; nothing is averaged."""
    found = np.zeros(shape, np.float32)
    x, y = ((np.arange(side) + 0.5) * old / side - 0.5 for side, old in zip(shape[::-1], raster.shape[::-1], strict=True))
    for first in range(0, shape[0], STRIP):
        rows = y[first : first + STRIP]
        found[first : first + STRIP] = bilinear(raster, np.tile(x, len(rows)), np.repeat(rows, len(x))).reshape(len(rows), -1)
    return found


def corner_shares(column: Floats, row: Floats, width: int) -> tuple[tuple[Ints, Floats], ...]:
    """The four pixels round each place and their bilinear shares, each as (n,) flat indices and (n,) shares that add up to 1.

    column, row: (n,) in pixels from the middle of the first, never in the last row or column. width: of the raster.
    """
    left, low = np.floor(column).astype(np.int32), np.floor(row).astype(np.int32)
    right, up = column - left, row - low
    flat = low * np.int32(width) + left
    return (
        (flat, (1 - right) * (1 - up)),
        (flat + 1, right * (1 - up)),
        (flat + np.int32(width), (1 - right) * up),
        (flat + np.int32(width) + 1, right * up),
    )
