"""How is a picture resized? By cubic filters, strip by strip, so that memory does not grow with the size of the result.

Mitchell and Netravali, "Reconstruction filters in computer graphics", SIGGRAPH 1988: (1/3, 1/3) widened by the scale where
the picture shrinks, in linear light, so that fine light and dark average as light does; (0, 1/2), which leaves a picture of the
same size unchanged, where it grows, on display-encoded values, since overshoots are less visible there.
"""

from __future__ import annotations

import functools
from collections.abc import Iterator

import numpy as np

from ..arrays import Floats, Ints, Pixels16
from ..srgb import decode, encode
from .crop_window import Window

"""(height, width, 3) display-encoded sRGB, 0 to 65535, the top row first."""
STRIP_BYTES = 24_000_000
"""About how much memory a strip may take in single precision."""


def cubic(distance: Floats, b: float, c: float) -> Floats:
    """The filter's weight at a distance in pixels (the paper's equation 8)."""
    x = np.abs(distance)
    near = (12 - 9 * b - 6 * c) * x**3 + (-18 + 12 * b + 6 * c) * x**2 + (6 - 2 * b)
    far = (-b - 6 * c) * x**3 + (6 * b + 30 * c) * x**2 + (-12 * b - 48 * c) * x + (8 * b + 24 * c)
    return np.where(x < 1.0, near, np.where(x < 2.0, far, 0.0)) / 6.0


def taps(length: int, wanted: int, *, widen: bool) -> tuple[Ints, Floats]:
    """(wanted, k) source pixels and their weights, of sum 1, for each pixel of a line of `length` brought to `wanted`."""
    scale = length / wanted
    reach = 2.0 * (max(scale, 1.0) if widen else 1.0)
    centre = (np.arange(wanted) + 0.5) * scale - 0.5
    first = np.floor(centre - reach).astype(np.int64) + 1
    places = first[:, None] + np.arange(int(np.ceil(2.0 * reach)) + 1)
    b, c = (1.0 / 3.0, 1.0 / 3.0) if widen else (0.0, 0.5)
    weights = cubic((places - centre[:, None]) / (0.5 * reach), b, c)
    return np.clip(places, 0, length - 1), weights / weights.sum(axis=1, keepdims=True)


@functools.lru_cache(maxsize=1)
def _linear_table() -> Floats:
    return decode(np.arange(65536, dtype=np.float64) / 65535.0).astype(np.float32)


def strips(picture: Pixels16, window: Window, size: tuple[int, int]) -> Iterator[tuple[int, Floats]]:
    """(first row, (k, width, 3) float32 display-encoded values, 0 to 1) of a window of a picture at another size, from the top.

    Bands beside the window take the mean colour of the picture's edge there.
    """
    width, height = size
    whole = window.size
    inner_x, inner_y = (
        round(side * band / full) for side, band, full in zip(size, (window.band_x, window.band_y), whole, strict=True)
    )
    inner = (width - 2 * inner_x, height - 2 * inner_y)
    part = picture[window.y : window.y + window.height, window.x : window.x + window.width]
    shrinks = inner[0] < window.width or inner[1] < window.height
    across = taps(window.width, inner[0], widen=shrinks)
    down = taps(window.height, inner[1], widen=shrinks)
    count = max(1, int(STRIP_BYTES // (12 * width)))
    for first in range(0, height, count):
        last = min(height, first + count)
        strip = np.zeros((last - first, width, 3), np.float32)
        if inner_x or inner_y:
            _fill_bands(strip, part, first, inner_x, (inner_y, height - inner_y))
        top, bottom = max(first, inner_y), min(last, height - inner_y)
        if top < bottom:
            rows = _rows(
                part, across, (down[0][top - inner_y : bottom - inner_y], down[1][top - inner_y : bottom - inner_y]), shrinks
            )
            strip[top - first : bottom - first, inner_x : width - inner_x] = rows
        yield first, strip


def _rows(part: Pixels16, across: tuple[Ints, Floats], down: tuple[Ints, Floats], linear: bool) -> Floats:
    low, high = int(down[0].min()), int(down[0].max()) + 1
    source = _linear_table()[part[low:high]] if linear else part[low:high].astype(np.float32) / np.float32(65535.0)
    wide = np.zeros((high - low, len(across[0]), 3), np.float32)
    for tap in range(across[0].shape[1]):
        weights = across[1][:, tap].astype(np.float32)
        if weights.any():
            wide += source[:, across[0][:, tap]] * weights[None, :, None]
    mix = np.zeros((len(down[0]), high - low), np.float32)
    for tap in range(down[0].shape[1]):
        np.add.at(mix, (np.arange(len(mix)), down[0][:, tap] - low), down[1][:, tap].astype(np.float32))
    rows = np.clip((mix @ wide.reshape(high - low, -1)).reshape(len(mix), -1, 3), 0.0, 1.0)
    return encode(rows).astype(np.float32) if linear else rows


def _fill_bands(strip: Floats, part: Pixels16, first: int, inner_x: int, inner: tuple[int, int]) -> None:
    def mean(edge: Pixels16) -> Floats:
        return (edge.reshape(-1, 3).mean(axis=0) / 65535.0).astype(np.float32)

    rows = first + np.arange(len(strip))
    strip[rows < inner[0]] = mean(part[0])
    strip[rows >= inner[1]] = mean(part[-1])
    if inner_x:
        strip[:, :inner_x], strip[:, -inner_x:] = mean(part[:, 0]), mean(part[:, -1])
