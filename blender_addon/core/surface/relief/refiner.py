"""Corrects what a linear inversion can't know: round dark spots are dust, a lip shades what lies below it, grain is not cut.

A small convolutional net corrects the linear inversion, patch by patch, in the frame of the light, and estimates which part of
the residual is shading; the rest is paint. It was trained on synthetic pieces, dusted and painted, photographed by a simulated
phone (`scripts/learning`); its weights lie beside this file. Strokes are resolved on squares of 2 x 2 cells, their surroundings
up to the whole patch on squares of 4 x 4: grain and cuts differ in how they continue.
"""

from __future__ import annotations

from functools import cache
from itertools import product
from pathlib import Path

import numpy as np

from ...arrays import Floats
from ...records import record

WEIGHTS = Path(__file__).with_name("refiner.npz")


@record
class Layer:
    """weight: (taps down, taps across, in, out) float32. bias: (out,). Inputs that are left out at the end count as 0."""

    weight: Floats
    bias: Floats

    def __call__(self, cells: Floats, dilation: int = 1) -> Floats:
        """(h, w, out) of (h, w, in), zero beyond the border: a product for each tap with the cells that it reaches, row by
        row, small enough for OpenBLAS to stay on the caller's thread (`threads.ALONE`)."""
        rows, columns, kinds = cells.shape
        weight = self.weight[:, :, :kinds]
        taps = len(weight)
        reach = [dilation * (place - taps // 2) for place in range(taps)]
        out = np.matmul(cells, weight[taps // 2, taps // 2])
        out += self.bias
        for (down, y), (across, x) in product(enumerate(reach), repeat=2):
            if (y or x) and abs(y) < rows and abs(x) < columns:
                seen = cells[max(y, 0) : rows + min(y, 0), max(x, 0) : columns + min(x, 0)]
                to = out[max(-y, 0) : rows + min(-y, 0), max(-x, 0) : columns + min(-x, 0)]
                to += np.matmul(seen, weight[down, across])
        return out


@record
class Refiner:
    """The net's layers by name and the dilations of those in the middle."""

    layers: dict[str, Layer]
    dilations: tuple[int, ...]

    def fields(self, planes: Floats, form: Floats) -> Floats:
        """(3, C, C) float32 slopes along x (the tangential irradiance) and y of a patch, and the log shading of its relief.

        planes: (12, C, C) log residual with specks closed over, the same as photographed, 1 where known, tangential irradiance
            along x and y, the linear inversion's three fields, log level of the paint that was divided out, its hue (2) and its
            level without the tint of shaded places; the last four may be left out for a plain piece.
        form: (4, C / 4, C / 4) slopes of the scan's surface along x and y, log irradiance, robust standard deviation of what
            the light's fit left over.
        """
        use = self.layers
        small = folded(planes.transpose(1, 2, 0))
        fine = use["first"](small)
        fine += use["before"](np.maximum(fine, 0))
        state = use["down"](np.concatenate([folded(np.maximum(fine, 0)), form.transpose(1, 2, 0)], axis=2))
        for place, dilation in enumerate(self.dilations):
            state += use[f"middle{place}"](np.maximum(state, 0), dilation)
        fine += unfolded(use["up"](np.maximum(state, 0)))
        fine += use["after"](np.maximum(fine, 0))
        correction = unfolded(use["last"](np.concatenate([np.maximum(fine, 0), small], axis=2)))
        return planes[5:8] + correction.transpose(2, 0, 1)


@cache
def refiner() -> Refiner:
    """The trained net."""
    with np.load(WEIGHTS) as kept:
        names = [name.removesuffix("_weight") for name in kept if name.endswith("_weight")]
        parts = {name: [kept[f"{name}_{part}"].astype(np.float32) for part in ("weight", "bias")] for name in names}
        return Refiner({name: Layer(*two) for name, two in parts.items()}, tuple(int(step) for step in kept["dilations"]))


def folded(cells: Floats) -> Floats:
    """(h / 2, w / 2, 4 k): each square of 2 x 2 cells of (h, w, k) as channels."""
    rows, columns, kinds = cells.shape
    squares = cells.reshape(rows // 2, 2, columns // 2, 2, kinds).transpose(0, 2, 4, 1, 3)
    return np.ascontiguousarray(squares, np.float32).reshape(rows // 2, columns // 2, 4 * kinds)


def unfolded(cells: Floats) -> Floats:
    """The reverse of `folded`."""
    rows, columns, kinds = cells.shape
    squares = cells.reshape(rows, columns, kinds // 4, 2, 2).transpose(0, 3, 1, 4, 2)
    return squares.reshape(2 * rows, 2 * columns, kinds // 4)
