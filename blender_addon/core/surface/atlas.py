"""How are the pictures of several materials joined into one? Side by side, with the UVs of each moved accordingly.

Later steps (relief, albedo, materials) then handle one picture for each scan, and none is dropped.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..records import record


@record
class AtlasConstants:
    """Numbers of joining pictures."""

    gutter: int = 8
    """Texels round each picture that repeat its rim, so that no neighbour's colour is read beside it."""
    largest: int = 8192
    """Longest side of the joined picture; larger ones are scaled down."""
    outside: float = 0.02
    """How far a face may reach past the border of its picture, in widths of it, before it counts as repeating the picture."""


ATLAS = AtlasConstants()


@record
class Cell:
    """Where a picture lies, in texels of the whole: its first column and row, width and height."""

    column: int
    row: int
    width: int
    height: int


@record
class Atlas:
    """width, height: of the whole in texels. cells: one a picture."""

    width: int
    height: int
    cells: tuple[Cell, ...]


def packed(sizes: Sequence[tuple[int, int]]) -> Atlas:
    """Pictures of `sizes` (width, height) on shelves of one picture, the tallest first; at most `ATLAS.largest` a side."""
    scale = 1.0
    while True:
        own = [(max(4, round(width * scale)), max(4, round(height * scale))) for width, height in sizes]
        atlas = _shelves(own)
        longest = max(atlas.width, atlas.height)
        if longest <= ATLAS.largest:
            return atlas
        scale *= min(0.98, ATLAS.largest / longest)


def _shelves(sizes: Sequence[tuple[int, int]]) -> Atlas:
    area = sum((width + 2 * ATLAS.gutter) * (height + 2 * ATLAS.gutter) for width, height in sizes)
    wide = max(max(width for width, _ in sizes) + 2 * ATLAS.gutter, int(np.ceil(np.sqrt(area))))
    cells: dict[int, Cell] = {}
    column = row = tall = reached = 0
    for place in sorted(range(len(sizes)), key=lambda number: (-sizes[number][1], number)):
        width, height = sizes[place]
        if column and column + width + 2 * ATLAS.gutter > wide:
            column, row, tall = 0, row + tall, 0
        cells[place] = Cell(column + ATLAS.gutter, row + ATLAS.gutter, width, height)
        column += width + 2 * ATLAS.gutter
        reached, tall = max(reached, column), max(tall, height + 2 * ATLAS.gutter)
    return Atlas(reached, row + tall, tuple(cells[place] for place in range(len(sizes))))


def moved_uv(uv: Floats, which: Ints, atlas: Atlas) -> Floats:
    """UVs (m, 3, 2) of faces whose pictures are cells `which` (m,) of an atlas, each face brought into its picture first."""
    inside = uv - np.floor(uv.mean(axis=1, keepdims=True))
    start = np.array([(cell.column, cell.row) for cell in atlas.cells], float)
    size = np.array([(cell.width, cell.height) for cell in atlas.cells], float)
    placed = start[which][:, None] + np.clip(inside, 0.0, 1.0) * size[which][:, None]
    return (placed / (atlas.width, atlas.height)).astype(np.float32)


def repeating(uv: Floats) -> Bools:
    """(m,) bool: the faces (m, 3, 2) that show more than one copy of their picture."""
    inside = uv - np.floor(uv.mean(axis=1, keepdims=True))
    return ((inside < -ATLAS.outside) | (inside > 1 + ATLAS.outside)).any(axis=(1, 2))


def assembled(atlas: Atlas, pictures: Sequence[Floats], empty: Floats) -> Floats:
    """(height, width, k) float32 with each picture (h, w, k), row 0 at v = 0, in its cell, its rim repeated in the gutter."""
    whole = np.zeros((atlas.height, atlas.width, len(empty)), np.float32)
    whole[:] = empty
    for cell, picture in zip(atlas.cells, pictures, strict=True):
        rows = np.clip(np.arange(-ATLAS.gutter, cell.height + ATLAS.gutter), 0, cell.height - 1)
        columns = np.clip(np.arange(-ATLAS.gutter, cell.width + ATLAS.gutter), 0, cell.width - 1)
        rows = (rows * picture.shape[0]) // cell.height
        columns = (columns * picture.shape[1]) // cell.width
        top, left = cell.row - ATLAS.gutter, cell.column - ATLAS.gutter
        whole[top : top + len(rows), left : left + len(columns)] = picture[rows][:, columns]
    return whole
