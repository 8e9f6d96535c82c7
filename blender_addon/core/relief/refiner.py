"""What a linear inversion can't know: a dark round spot is dust, a lip shades what lies under it, blur has worn an edge.

A small convolutional net corrects the slopes of the linear inversion, patch by patch, in the frame of the light. It learned
from made-up pieces photographed by a made-up phone (`scripts/learning`); its weights are data beside this file. It works on
small squares of cells at once and sees some 40 cells round each one.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[Any]

WEIGHTS = Path(__file__).with_name("refiner.npz")
PLANES = 7
BATCH = 1
"""Patches at a time: what one unfolds to stays in the cache; two take a tenth longer a patch, eight twice as long."""


@dataclass(frozen=True)
class Refiner:
    """Convolution weights (3, 3, in, out) float32 and biases (out,), first to last; dilations of those between."""

    weights: tuple[Floats, ...]
    biases: tuple[Floats, ...]
    dilations: tuple[int, ...]

    @property
    def fold(self) -> int:
        """Edge of the square of cells that are worked on as one."""
        return int(np.sqrt(self.weights[0].shape[2] // PLANES))

    def slopes(self, planes: Floats) -> Floats:
        """(p, 2, C, C) float32 slopes along x (the light's pull) and y from `planes` (p, 7, C, C).

        Planes: log residual with specks closed over, the same as photographed, 1 where known, pull along x and y, linear
        slopes along x and y.
        """
        made = np.zeros((len(planes), 2, *planes.shape[2:]), np.float32)
        for start in range(0, len(planes), BATCH):
            made[start : start + BATCH] = self._some(planes[start : start + BATCH])
        return made

    def _some(self, planes: Floats) -> Floats:
        small = _folded(planes, self.fold)
        state = _convolved(small, self.weights[0], self.biases[0], 1)
        for place, dilation in enumerate(self.dilations, start=1):
            state += _convolved(np.maximum(state, 0), self.weights[place], self.biases[place], dilation)
        both = np.concatenate([np.maximum(state, 0), small], axis=3)
        return planes[:, 5:7] + _unfolded(_convolved(both, self.weights[-1], self.biases[-1], 1), self.fold)


@cache
def refiner() -> Refiner:
    """The trained net."""
    with np.load(WEIGHTS) as kept:
        count = sum(name.startswith("weight") for name in kept)
        return Refiner(
            tuple(kept[f"weight{place}"].astype(np.float32) for place in range(count)),
            tuple(kept[f"bias{place}"].astype(np.float32) for place in range(count)),
            tuple(int(step) for step in kept["dilations"]),
        )


def _folded(planes: Floats, fold: int) -> Floats:
    """(p, C / fold, C / fold, fold^2 k): each square of cells of (p, k, C, C) as channels."""
    count, kinds, rows, columns = planes.shape
    cells = planes.reshape(count, kinds, rows // fold, fold, columns // fold, fold)
    return np.ascontiguousarray(cells.transpose(0, 2, 4, 1, 3, 5).reshape(count, rows // fold, columns // fold, -1))


def _unfolded(cells: Floats, fold: int) -> Floats:
    """The reverse of `_folded`."""
    count, rows, columns, _ = cells.shape
    planes = cells.reshape(count, rows, columns, -1, fold, fold).transpose(0, 3, 1, 4, 2, 5)
    return planes.reshape(count, planes.shape[1], fold * rows, fold * columns)


def _convolved(cells: Floats, weight: Floats, bias: Floats, dilation: int) -> Floats:
    """(p, h, w, out) of (p, h, w, in), zero beyond the rim: one matrix product over the nine shifted copies."""
    count, rows, columns, kinds = cells.shape
    unfolded = np.zeros((count, rows, columns, 9, kinds), np.float32)
    for tap in range(9):
        (to_row, from_row), (to_column, from_column) = (
            _overlap(step * dilation, size) for step, size in ((tap // 3 - 1, rows), (tap % 3 - 1, columns))
        )
        unfolded[:, to_row, to_column, tap] = cells[:, from_row, from_column]
    made = unfolded.reshape(-1, 9 * kinds) @ weight.reshape(9 * kinds, -1)
    made += bias
    return made.reshape(count, rows, columns, -1)


def _overlap(step: int, size: int) -> tuple[slice, slice]:
    """Where a row shifted by `step` lands, and what part of it does."""
    return slice(max(0, -step), size - max(0, step)), slice(max(0, step), size - max(0, -step))
