"""How is a relief divided into fine, middle and broad bands? By blurring its slopes to two widths, so that a material can scale
each separately."""

from __future__ import annotations

import numpy as np

from ...arrays import Bools, Floats
from ...records import record
from ..bandpass import gaussian_blur


@record
class BandsConstants:
    """Numbers of the bands that a material's detail is set by."""

    middle_mm: float = 0.4
    """Standard deviation of the first blur, mm: what is finer is the tooth of a tool. Set by eye."""
    broad_mm: float = 1.6
    """Standard deviation of the second, mm: what is broader is the sweep of a hand. Set by eye."""
    kept: float = 3.0
    """Texels a blurred map keeps for each standard deviation: it holds nothing finer."""


BANDS = BandsConstants()


def band_maps(normals: Floats, mask: Bools, texel_mm: float) -> tuple[Floats, Floats]:
    """Slopes of the middle and broad relief together, and of the broad alone, (h', w', 3) float32: x, y, and 0.

    normals: (h, w, 3) tangent-space normal map, 0 to 1; mask: (h, w) where it holds something. A slope is x/z and y/z; outside
    of the mask nothing counts (normalised convolution). The maps are as small as what is in them allows.
    """
    vectors = 2.0 * np.asarray(normals, np.float32) - 1.0
    slopes = vectors[..., :2] / np.maximum(vectors[..., 2:], 0.05)
    inside = mask.astype(np.float32)
    found = []
    for width in (BANDS.middle_mm, BANDS.broad_mm):
        sigma = width / max(texel_mm, 1e-6)
        weight = np.maximum(gaussian_blur(inside, sigma), 1e-3)
        blurred = [gaussian_blur(np.where(mask, slopes[..., axis], 0.0), sigma) / weight for axis in (0, 1)]
        step = _step(sigma, min(mask.shape))
        flat = np.stack([*blurred, np.zeros_like(blurred[0])], axis=-1)
        found.append(_means(flat, step))
    return found[0], found[1]


def _step(sigma: float, smallest: int) -> int:
    """Edge in texels of the blocks that a blur of `sigma` texels may be thinned to: a power of two."""
    step = 1
    while 2 * step * BANDS.kept <= 2.0 * sigma and smallest >= 64 * step:
        step *= 2
    return step


def _means(values: Floats, step: int) -> Floats:
    """Means of blocks, (h // step, w // step, 3); what is over at the far sides is left out only where it can't be divided."""
    height, width = (length - length % step for length in values.shape[:2])
    blocks = values[:height, :width].reshape(height // step, step, width // step, step, -1)
    return blocks.mean(axis=(1, 3), dtype=np.float32)
