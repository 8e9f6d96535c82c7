"""How bright is the surface further along its grain? Wood grain, brush strokes and drawn lines continue; a cut crosses them.

The direction in which the picture varies least is measured over a few mm, on patches of the surface itself (structure tensor;
Bigun and Granlund 1987), and the picture is averaged to both sides along it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ...arrays import Bools, Complexes, Floats
from ...threads import in_parallel
from ..patches import CELLS, Cloud, Patches, filled, lay_patches, read_back, splat, totals, wave_vectors
from ..textured_surface import TexturedSurface

CELL_MM = 0.14
"""Edge of a cell: twice that of the relief's, since grain varies slowly."""
LARGE_MM2 = 20_000.0  # mm2: a larger surface gets coarser cells, as many as this one has, which limits the time
FINE_MM = 0.15  # sigma of the picture whose gradients give the direction
WAY_MM = 2.0  # sigma over which the direction is measured: broader than a cut, so that a single cut does not decide it
ALONG_MM = 1.5  # sigma along the grain of the average
STRIDE = 4.0  # cells between two samples of that average
STEEPEST = 0.8  # quantile of a patch's slopes at which they are capped, so that a single edge does not dominate


def along_grain(surface: TexturedSurface, values: Floats, *, seed: int = 1) -> Floats:
    """(n,) float32 mean of `values` (n,) at the texels along the grain that they show."""
    area = len(surface) * surface.texel_mm**2
    cell = max(CELL_MM * float(np.sqrt(max(area / LARGE_MM2, 1.0))), 0.85 * surface.texel_mm)
    patches, cloud = lay_patches(surface.position, surface.normal, cell_mm=cell, seed=seed)
    total = np.zeros((3, len(values)))
    for low, sums in in_parallel(_runner(patches, cloud, np.asarray(values, np.float32)), patches.runs()):
        total[:, low : low + sums.shape[1]] += sums
    total[:, cloud.order] = total.copy()
    mean, known, _ = total
    return np.where(known > 1e-6, mean / np.maximum(known, 1e-9), values).astype(np.float32)


def _runner(patches: Patches, cloud: Cloud, values: Floats) -> Callable[[tuple[int, int]], tuple[int, Floats]]:
    def run(ends: tuple[int, int]) -> tuple[int, Floats]:
        members = patches.members(cloud, *ends)
        means, weight = splat(members, values)
        known = weight > 0.15
        drawn = summed_along(means, known, way_of(filled(means, weight), known, patches.cell_mm), ALONG_MM / patches.cell_mm)
        return totals(members, *read_back(members, np.stack([drawn.real, drawn.imag], axis=1)))

    return run


def way_of(grids: Floats, known: Bools, cell_mm: float) -> Floats:
    """(p, CELLS, CELLS) angle in radians from x of the way along which grids (p, CELLS, CELLS) vary least, where known."""
    square = np.square(wave_vectors(cell_mm)[0]) + np.square(wave_vectors(cell_mm)[1])

    def smoothed(fields: Floats, sigma: float) -> Floats:
        return np.fft.irfft2(np.fft.rfft2(fields) * np.exp(-0.5 * square * sigma**2), s=(CELLS, CELLS))

    up, right = np.gradient(smoothed(grids, FINE_MM), axis=(1, 2))
    steep = np.hypot(up, right) * known
    limit = np.quantile(steep, STEEPEST, axis=(1, 2), keepdims=True)
    share = known * np.minimum(1.0, limit / np.maximum(steep, 1e-9))
    up, right = up * share, right * share
    twice, across = smoothed(2 * right * up, WAY_MM), smoothed(right * right - up * up, WAY_MM)
    return (0.5 * np.arctan2(twice, across) + np.pi / 2).astype(np.float32)


def summed_along(grids: Floats, known: Bools, angle: Floats, sigma: float) -> Complexes:
    """(p, CELLS, CELLS) complex64: Gaussian sum of the known cells of grids (p, CELLS, CELLS) along the way at `angle`, and as
    imaginary part that of how many are known, which are sampled together so. sigma in cells."""
    both = (grids * known + 1j * known).astype(np.complex64)
    flat, first = both.ravel(), (np.arange(len(grids), dtype=np.int32) * CELLS * CELLS)[:, None, None]
    row, column = np.mgrid[0:CELLS, 0:CELLS].astype(np.float32)
    ahead, up = np.cos(angle) * np.float32(STRIDE), np.sin(angle) * np.float32(STRIDE)
    total = both.copy()
    steps = max(1, int(2 * sigma / STRIDE))
    for step in (*range(-steps, 0), *range(1, steps + 1)):
        x, y = column + step * ahead, row + step * up
        inside = (x >= 0) & (x <= CELLS - 1.01) & (y >= 0) & (y <= CELLS - 1.01)
        x, y = np.where(inside, x, 0), np.where(inside, y, 0)
        left, low = x.astype(np.int32), y.astype(np.int32)
        right, high = x - left, y - low
        cell = first + low * CELLS + left
        lower = flat[cell] * (1 - right) + flat[cell + 1] * right
        upper = flat[cell + CELLS] * (1 - right) + flat[cell + CELLS + 1] * right
        total += (inside * np.float32(np.exp(-0.5 * (step * STRIDE / sigma) ** 2))) * (lower * (1 - high) + upper * high)
    return total
