"""How bright is the surface further along its grain? Wood grain, brush strokes and drawn lines continue; a cut crosses them.

The direction in which the picture varies least is measured over a few mm, on patches of the surface itself (structure tensor;
Bigun and Granlund 1987), and the picture is averaged to both sides along it.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ...arrays import Bools, Complexes, Floats
from ...records import record
from ...threads import in_parallel
from ..patches import PATCH, Cloud, Patches, filled, lay_patches, read_back, splat, totals, wave_vectors
from ..textured_surface import TexturedSurface


@record
class GrainConstants:
    """Numbers of the grain's direction and of the average along it; guesses where nothing else is said."""

    cell_mm: float = 0.14
    """Edge of a cell: twice that of the relief's, since grain varies slowly."""
    fine_mm: float = 0.15
    """Sigma of the picture whose gradients give the direction, mm."""
    way_mm: float = 2.0
    """Sigma over which the direction is measured, mm: broader than a cut, so that a single cut does not decide it."""
    along_mm: float = 1.5
    """Sigma of the average along the grain, mm."""
    stride: float = 4.0
    """Cells between two samples of that average."""
    steepest: float = 0.8
    """Quantile of a patch's slopes at which they are capped, so that a single edge does not dominate."""


GRAIN = GrainConstants()


def along_grain(surface: TexturedSurface, values: Floats, *, seed: int = 1) -> Floats:
    """(n,) float32 mean of `values` (n,) at the texels along the grain that they show."""
    area = len(surface) * surface.texel_mm**2
    cell = max(GRAIN.cell_mm * float(np.sqrt(max(area / PATCH.large_mm2, 1.0))), 0.85 * surface.texel_mm)
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
        drawn = summed_along(
            means, known, way_of(filled(means, weight), known, patches.cell_mm), GRAIN.along_mm / patches.cell_mm
        )
        return totals(members, *read_back(members, np.stack([drawn.real, drawn.imag], axis=1)))

    return run


def way_of(grids: Floats, known: Bools, cell_mm: float) -> Floats:
    """(p, cells, cells) angle in radians from x of the way along which grids (p, cells, cells) vary least, where known."""
    square = np.square(wave_vectors(cell_mm)[0]) + np.square(wave_vectors(cell_mm)[1])

    def smoothed(fields: Floats, sigma: float) -> Floats:
        return np.fft.irfft2(np.fft.rfft2(fields) * np.exp(-0.5 * square * sigma**2), s=(PATCH.cells, PATCH.cells))

    up, right = np.gradient(smoothed(grids, GRAIN.fine_mm), axis=(1, 2))
    steep = np.hypot(up, right) * known
    limit = np.quantile(steep, GRAIN.steepest, axis=(1, 2), keepdims=True)
    share = known * np.minimum(1.0, limit / np.maximum(steep, 1e-9))
    up, right = up * share, right * share
    twice, across = smoothed(2 * right * up, GRAIN.way_mm), smoothed(right * right - up * up, GRAIN.way_mm)
    return (0.5 * np.arctan2(twice, across) + np.pi / 2).astype(np.float32)


def summed_along(grids: Floats, known: Bools, angle: Floats, sigma: float) -> Complexes:
    """(p, cells, cells) complex64: Gaussian sum of the known cells of grids (p, cells, cells) along the way at `angle`, and as
    imaginary part that of how many are known, which are sampled together so. sigma in cells."""
    both = (grids * known + 1j * known).astype(np.complex64)
    flat, first = both.ravel(), (np.arange(len(grids), dtype=np.int32) * PATCH.cells * PATCH.cells)[:, None, None]
    row, column = np.mgrid[0 : PATCH.cells, 0 : PATCH.cells].astype(np.float32)
    ahead, up = np.cos(angle) * np.float32(GRAIN.stride), np.sin(angle) * np.float32(GRAIN.stride)
    total = both.copy()
    steps = max(1, int(2 * sigma / GRAIN.stride))
    for step in (*range(-steps, 0), *range(1, steps + 1)):
        x, y = column + step * ahead, row + step * up
        inside = (x >= 0) & (x <= PATCH.cells - 1.01) & (y >= 0) & (y <= PATCH.cells - 1.01)
        x, y = np.where(inside, x, 0), np.where(inside, y, 0)
        left, low = x.astype(np.int32), y.astype(np.int32)
        right, high = x - left, y - low
        cell = first + low * PATCH.cells + left
        lower = flat[cell] * (1 - right) + flat[cell + 1] * right
        upper = flat[cell + PATCH.cells] * (1 - right) + flat[cell + PATCH.cells + 1] * right
        total += (inside * np.float32(np.exp(-0.5 * (step * GRAIN.stride / sigma) ** 2))) * (lower * (1 - high) + upper * high)
    return total
