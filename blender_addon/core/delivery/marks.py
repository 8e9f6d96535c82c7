"""How are text and bars drawn onto a picture strip by strip? As masks with a tone, blended over display-encoded values."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import Floats
from ..records import record

LIGHT, DARK = 0.97, 0.05
"""Tones of a mark on dark and on light ground, display-encoded."""
HALO = 0.6
"""Opacity of the halo of opposite tone round a mark, by which it is legible on ground that is both light and dark."""


@record
class Mark:
    """A mask (h, w) of 0 to 1 with its top left corner in the picture, px, and its tone, 0 black to 1 white."""

    x: int
    y: int
    mask: Floats
    tone: float


@record
class Tiled:
    """Masks (h, w) of light letters and of a dark halo, repeated over the whole picture; scale: pixels of the picture for one
    of theirs; strength: opacity, 0 to 1."""

    mask: Floats
    halo: Floats
    scale: float
    strength: float


def lay(strip: Floats, first: int, marks: Sequence[Mark]) -> None:
    """Lay marks onto a strip (k, width, 3) whose top row is row `first` of the picture, in place."""
    for mark in marks:
        top, bottom = max(first, mark.y), min(first + len(strip), mark.y + mark.mask.shape[0])
        left, right = max(0, mark.x), min(strip.shape[1], mark.x + mark.mask.shape[1])
        if top < bottom and left < right:
            mask = mark.mask[top - mark.y : bottom - mark.y, left - mark.x : right - mark.x, None]
            part = strip[top - first : bottom - first, left:right]
            part += (np.float32(mark.tone) - part) * mask


def lay_tiled(strip: Floats, first: int, tiled: Tiled) -> None:
    """Lay a repeated mark onto a strip, in place: light letters in a dark halo are visible on any ground."""
    height, width = tiled.mask.shape
    rows = ((first + np.arange(len(strip))) / tiled.scale).astype(int) % height
    columns = (np.arange(strip.shape[1]) / tiled.scale).astype(int) % width
    for part, tone in ((tiled.halo, DARK), (tiled.mask, LIGHT)):
        mask = part[np.ix_(rows, columns)].astype(np.float32)[..., None] * np.float32(tiled.strength)
        strip += (np.float32(tone) - strip) * mask


def tiled(mask: Floats, scale: float, strength: float, *, reach: int) -> Tiled:
    """A tile from a mask (h, w), with a halo that reaches `reach` of its pixels and wraps over its edges.

    scale: pixels of the picture a pixel of the tile. strength: opacity, 0 to 1.
    """
    wide = np.pad(mask, 2 * reach, mode="wrap")
    soft = np.clip(2.0 * _blurred(_blurred(wide, reach), reach), 0.0, 1.0)[2 * reach : -2 * reach, 2 * reach : -2 * reach]
    return Tiled(mask, HALO * soft, scale, strength)


def tone_on(ground: Floats) -> float:
    """The tone that is legible on a part of a picture (h, w, 3): light on dark, dark on light."""
    return DARK if float(ground.mean()) > 0.5 else LIGHT


def with_halo(mask: Floats, x: int, y: int, tone: float, *, reach: int) -> list[Mark]:
    """A mask as a mark, over a soft halo of the opposite tone that reaches `reach` pixels.

    x, y: px from the picture's top left corner to the mask's.
    """
    wide = np.pad(mask, 2 * reach)
    soft = np.clip(2.0 * _blurred(_blurred(wide, reach), reach), 0.0, 1.0) * HALO
    return [Mark(x - 2 * reach, y - 2 * reach, soft, DARK if tone > 0.5 else LIGHT), Mark(x, y, mask, tone)]


def _blurred(mask: Floats, reach: int) -> Floats:
    """Box means over 2 reach + 1 pixels both ways, 0 beyond the edges."""
    for axis in (0, 1):
        total = np.cumsum(
            np.pad(mask, [(reach + 1, reach) if a == axis else (0, 0) for a in (0, 1)]), axis=axis, dtype=np.float64
        )
        length, step = mask.shape[axis], 2 * reach + 1
        ends = np.take(total, np.arange(step, step + length), axis=axis)
        mask = ((ends - np.take(total, np.arange(length), axis=axis)) / step).astype(np.float32)
    return mask


def slanted(mask: Floats, *, slope: float = 0.5, air: float = 1.0) -> Floats:
    """A line of words (h, w) as a tile that can be repeated, each column moved up by `slope`, with `air` heights between."""
    height, width = mask.shape
    gap = round(air * height)
    wide = width + gap
    tall = max(1, round(wide * slope))
    tile = np.zeros((tall, wide), np.float32)
    rows = np.arange(height)
    for column in range(width):
        whole, part = divmod(column * slope, 1.0)
        for up, share in ((int(whole), 1.0 - part), (int(whole) + 1, part)):
            tile[(rows - up) % tall, column] += share * mask[:, column]
    return np.minimum(tile, 1.0)
