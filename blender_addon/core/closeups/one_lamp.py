"""What relief does a photo under a single lamp show? Slopes along the lamp are seen, those across follow from a surface.

A lamp shades what leans towards it and away from it, so that each pixel gives one component of the slope. Slopes of a surface
are the gradient of its height, which ties both components of all waves but those that run exactly across: the height is found
whose gradient has what is seen, by least squares with a little weight on a flat one (Pentland, Linear Shape from Shading,
IJCV 4, 1990), by conjugate gradients with the solution for an even direction as preconditioner.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from ..mesh.triangles import unit
from ..surface.texels import Texels

FLAT = 0.08
"""Weight on a flat surface, beside that of 1 on what is seen: waves that run within 16 degrees of across the lamp are lost. A
guess."""
ROUNDS = 12
"""Rounds of the iteration; a guess."""


def completed(pixels: Texels, axes: Floats, normal: Floats, slope: Floats, light: Floats, weight: Floats) -> Floats:
    """(n, 3) slopes of the surface whose slopes along the light are those of `slope` (n, 3).

    axes: (3, 3) rows right, up and towards the camera. normal: (n, 3) of the form. light: (n, 3) the light's way times its
    strength. weight: (n,) 0 to 1, how far a pixel counts.
    """
    turned = normal @ axes.T
    way = light @ axes.T
    along = unit(way - np.einsum("ij,ij->i", way, turned)[:, None] * turned)
    rise = np.clip(turned[:, 2], 0.2, 1.0)
    seen = np.einsum("ij,ij->i", slope @ axes.T, along)
    x, y, wanted = (pixels.scatter(values.astype(np.float32)) for values in (rise * along[:, 0], rise * along[:, 1], seen))
    counted = pixels.scatter(weight.astype(np.float32))
    height = _height(x, y, wanted, counted)
    across, up = (_difference(height, axis).reshape(-1)[pixels.index] for axis in (1, 0))
    flat = np.stack([across, up, np.zeros_like(across)], axis=1)
    found = rise[:, None] * (flat - np.einsum("ij,ij->i", flat, turned)[:, None] * turned)
    return np.asarray(found @ axes, np.float32)


def _difference(height: Floats, axis: int) -> Floats:
    """(h, w) change of the height from each pixel to the next, the last and the first being neighbours."""
    return np.asarray(np.roll(height, -1, axis) - height)


def _transposed(values: Floats, axis: int) -> Floats:
    """The transpose of `_difference`."""
    return np.asarray(np.roll(values, 1, axis) - values)


def _height(x: Floats, y: Floats, wanted: Floats, counted: Floats) -> Floats:
    """(h, w) height in pixels such that x times its change to the right and y times that upwards are what is wanted."""
    shape = wanted.shape

    def applied(height: Floats) -> Floats:
        across, up = _difference(height, 1), _difference(height, 0)
        off = counted * (x * across + y * up)
        return _transposed(x * off + FLAT * across, 1) + _transposed(y * off + FLAT * up, 0)

    known = max(float(counted.sum()), 1e-6)
    even = np.array([[float((counted * a * b).sum()) / known for b in (x, y)] for a in (x, y)])
    wave = [np.exp(2j * np.pi * np.fft.fftfreq(side)) - 1 for side in shape]
    right, upwards = np.meshgrid(wave[1][: shape[1] // 2 + 1], wave[0])
    power = even[0, 0] * abs(right) ** 2 + even[1, 1] * abs(upwards) ** 2 + 2 * even[0, 1] * (right * upwards.conj()).real
    power = power + FLAT * (abs(right) ** 2 + abs(upwards) ** 2)
    power[0, 0] = 1.0

    def preconditioned(values: Floats) -> Floats:
        return np.asarray(np.fft.irfft2(np.fft.rfft2(values) / power, shape))

    rest = _transposed(x * counted * wanted, 1) + _transposed(y * counted * wanted, 0)
    height = np.zeros(shape)
    step = better = preconditioned(rest)
    size = float((rest * better).sum())
    enough = 1e-8 * size  # beyond it there is but rounding, which the steps would follow
    for _ in range(ROUNDS):
        if size <= enough:
            break
        change = applied(step)
        length = size / max(float((step * change).sum()), 1e-30)
        height, rest = height + length * step, rest - length * change
        better = preconditioned(rest)
        new = float((rest * better).sum())
        step, size = better + new / size * step, new
    return height
