"""How are many pictures laid out on one page? In rows of equal width."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import Floats
from ..records import record


@record
class Place:
    """Where a picture goes on the sheet, in pixels from the top left; the caption goes under it."""

    x: int
    y: int
    width: int
    height: int


def layout(
    aspects: Sequence[float], *, width: int, margin: int, caption: int, row_height: int
) -> tuple[list[Place], tuple[int, int]]:
    """Places for pictures of the given aspects (width over height), and the sheet's size.

    Rows are filled in order and scaled to the full width; the last row is left at `row_height` when it is short.

    margin, caption: width of the gaps and height of a caption, px, as all lengths here.
    """
    places: list[Place] = []
    y = margin
    for row in _rows(aspects, width - 2 * margin, margin, row_height):
        free = width - 2 * margin - margin * (len(row) - 1)
        height = free / sum(aspects[i] for i in row)
        last = row[-1] == len(aspects) - 1
        height = min(height, row_height * 1.35) if last else height
        x = float(margin)
        for i in row:
            places.append(Place(round(x), y, round(aspects[i] * height), round(height)))
            x += aspects[i] * height + margin
        y += round(height) + caption + margin
    return places, (width, y)


def _rows(aspects: Sequence[float], free: int, margin: int, row_height: int) -> list[list[int]]:
    rows: list[list[int]] = []
    row: list[int] = []
    for i in range(len(aspects)):
        row.append(i)
        if sum(aspects[j] for j in row) * row_height + margin * (len(row) - 1) >= free:
            rows.append(row)
            row = []
    return [*rows, row] if row else rows


def fitted(picture: Floats, width: int, height: int) -> Floats:
    """A picture (h, w, c) at another size, by area means when shrinking and by the nearest pixel when growing."""
    return _along(_along(picture, height, 0), width, 1)


def _along(picture: Floats, count: int, axis: int) -> Floats:
    length = picture.shape[axis]
    if count >= length:
        return np.take(picture, (np.arange(count) * length // count), axis=axis)
    total = np.concatenate([np.zeros_like(np.take(picture, [0], axis)), np.cumsum(picture, axis=axis, dtype=np.float64)], axis)
    edges = np.linspace(0, length, count + 1)
    low = np.floor(edges).astype(int)
    rest = (edges - low).reshape([-1 if a == axis else 1 for a in range(picture.ndim)])
    high = np.minimum(low + 1, length)
    at = np.take(total, low, axis) * (1 - rest) + np.take(total, high, axis) * rest
    return np.diff(at, axis=axis) / (length / count)


def compose(pictures: Sequence[Floats], places: Sequence[Place], size: tuple[int, int], *, paper: float = 0.96) -> Floats:
    """The sheet (height, width, 3), row 0 at the top, display-encoded; pictures (h, w, 3) with row 0 at the top.

    size: (width, height) of the sheet in px. paper: display-encoded grey of its ground.
    """
    sheet = np.full((size[1], size[0], 3), paper, np.float32)
    for picture, place in zip(pictures, places, strict=True):
        sheet[place.y : place.y + place.height, place.x : place.x + place.width] = fitted(picture, place.width, place.height)
    return sheet
