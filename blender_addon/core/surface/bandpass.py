"""What of a picture lies between two sizes? Gaussian blurs and their difference, fast for any width, aware of a mask.

A wide blur is done small: means of blocks, a blur of what variance is left, and a smooth way back up by a quadratic
B-spline, whose variance does not depend on the place between two samples, so that the variances add exactly:

    sigma^2 = f^2 (s^2 + 1/4 + (1 - 1/f^2) / 12)        f: block edge, s: the blur among blocks

Borders mirror at the texel's edge ("reflect" of scipy.ndimage).
"""

from __future__ import annotations

import numpy as np
from numpy.lib.stride_tricks import as_strided

from ..arrays import Bools, Floats, Ints
from ..records import record
from ..threads import ALONE, in_parallel


@record
class BlurConstants:
    """Numbers of the blur."""

    strip: int = 32
    """Rows and columns handled at a time in the direct blur, so that they stay in the processor's cache."""
    part: int = 500_000
    """Texels that a thread works on at a time: many beside the cost of a thread's turn."""
    reach: float = 4.5
    """Radius of a kernel in sigmas: beyond it less than 5e-5 of the peak is left."""


BLUR = BlurConstants()


def gaussian_blur(image: Floats, sigma: float) -> Floats:
    """The image (height, width) float32 blurred by a Gaussian of `sigma` texels (0 returns a copy)."""
    image = np.ascontiguousarray(image, np.float32)
    if sigma <= 0:
        return image.copy()
    factor = _block(sigma, min(image.shape))
    if factor == 1:
        return _direct(image, sigma)
    height, width = image.shape
    whole = height % factor == 0 and width % factor == 0
    padded = image if whole else np.pad(image, ((0, -height % factor), (0, -width % factor)), mode="symmetric")
    rows, columns = padded.shape[0] // factor, padded.shape[1] // factor
    small = padded.reshape(rows, factor, padded.shape[1]).sum(axis=1).reshape(rows, columns, factor).sum(axis=2)
    small /= factor * factor
    left = sigma**2 / factor**2 - 0.25 - (1 - 1 / factor**2) / 12
    small = _direct(small, float(np.sqrt(left)))
    wide = np.ascontiguousarray(_enlarged(np.ascontiguousarray(small.T), factor).T)  # along the rows while there are few
    return np.ascontiguousarray(_enlarged(wide, factor)[:height, :width])


def band_pass(image: Floats, fine: float, coarse: float, *, mask: Bools | None = None) -> Floats:
    """The image (height, width) between two Gaussians of `fine` < `coarse` texels (difference of the two blurs).

    With a mask only texels inside count (normalised convolution), and the result is 0 outside: no background leaks in.
    """
    if mask is None:
        narrow = gaussian_blur(image, fine)
        narrow -= gaussian_blur(image, coarse)
        return narrow
    inside = mask.astype(np.float32)
    kept = np.where(mask, image, 0).astype(np.float32)
    narrow = gaussian_blur(kept, fine) / np.maximum(gaussian_blur(inside, fine), 1e-3)
    wide = gaussian_blur(kept, coarse) / np.maximum(gaussian_blur(inside, coarse), 1e-3)
    return np.where(mask, narrow - wide, 0).astype(np.float32)


def _block(sigma: float, smallest: int) -> int:
    """Edge of the blocks: at most sigma / 4, so that the blur among blocks stays wide against a block; power of two."""
    factor = 1
    while factor < 16 and 2 * factor * 4 <= sigma and smallest >= 32 * factor:
        factor *= 2
    return factor


def _kernel(sigma: float) -> Floats:
    """One side of the kernel, centre first, so that the whole sums to 1."""
    reach = max(1, int(np.ceil(BLUR.reach * sigma)))
    side = np.exp(-0.5 * (np.arange(reach + 1) / sigma) ** 2)
    return (side / (side[0] + 2 * side[1:].sum())).astype(np.float32)


def _mirrored(rows: Ints, count: int) -> Ints:
    rows = np.mod(rows, 2 * count)
    return np.where(rows >= count, 2 * count - 1 - rows, rows)


def _direct(image: Floats, sigma: float) -> Floats:
    """Separable convolution, a strip of rows at a time, each direction as products with a banded matrix, on all cores."""
    height, width = image.shape
    kernel = _kernel(sigma)
    reach = len(kernel) - 1
    band = _banded(kernel)
    turned = np.ascontiguousarray(band.T)
    across = _mirrored(np.arange(-reach, width + -width % BLUR.strip + reach), width)
    piece = max(16, ALONE // band.size // 16 * 16)  # columns of one product down
    blocks = (width + -width % BLUR.strip) // BLUR.strip
    out = np.zeros_like(image)

    def run(tops: range) -> None:
        row = np.zeros((BLUR.strip + 2 * reach, len(across) + -len(across) % piece), np.float32)
        down = np.zeros((BLUR.strip, row.shape[1]), np.float32)
        along = as_strided(down, (blocks, BLUR.strip, BLUR.strip + 2 * reach), (BLUR.strip * down.itemsize, *down.strides))
        strip = np.zeros((BLUR.strip, blocks, BLUR.strip), np.float32)
        for top in tops:
            first, last = top - reach, top + BLUR.strip + reach
            inside = first >= 0 and last <= height
            near = image[first:last] if inside else image[_mirrored(np.arange(first, last), height)]
            row[:, reach : reach + width] = near
            row[:, :reach] = near[:, across[:reach]]
            row[:, reach + width : len(across)] = near[:, across[reach + width :]]
            np.matmul(band, _cut(row, piece), out=_cut(down, piece))
            np.matmul(along, turned, out=strip.swapaxes(0, 1))
            bottom = min(top + BLUR.strip, height)
            out[top:bottom] = strip[: bottom - top].reshape(bottom - top, -1)[:, :width]

    each = BLUR.strip * max(1, BLUR.part // max(BLUR.strip * width, 1))
    for _ in in_parallel(run, [range(top, min(top + each, height), BLUR.strip) for top in range(0, height, each)]):
        pass
    return out


def _banded(kernel: Floats) -> Floats:
    """(STRIP, STRIP + 2 reach): each row is the whole kernel, a place further along than that before."""
    reach = len(kernel) - 1
    away = np.abs(np.arange(BLUR.strip + 2 * reach)[None] - np.arange(BLUR.strip)[:, None] - reach)
    return np.where(away <= reach, kernel[np.minimum(away, reach)], 0).astype(np.float32)


def _cut(rows: Floats, piece: int) -> Floats:
    """(pieces, rows, `piece`) view of rows."""
    return rows.reshape(len(rows), -1, piece).swapaxes(0, 1)


def _enlarged(small: Floats, factor: int) -> Floats:
    """Rows (h, w) -> (h * factor, w) by the quadratic B-spline, samples at block centres."""
    height, width = small.shape
    place = (np.arange(factor) + 0.5) / factor - 0.5
    away = np.abs(place[:, None] - (-1, 0, 1))
    weights = np.where(away < 0.5, 0.75 - away**2, np.where(away < 1.5, 0.5 * (1.5 - away) ** 2, 0)).astype(np.float32)
    padded = np.pad(small, ((1, 1), (0, 0)), mode="symmetric")
    threes = as_strided(padded, (height, 3, width), (padded.strides[0], *padded.strides))  # each row with its neighbours
    return np.matmul(weights, threes).reshape(height * factor, width)
