"""What is left of a shadow on a transparent picture: no specks where there is none, and no edge where the picture ends.

Transparency is not denoised, so that single pixels stand out of it; and a long shadow would end at the picture's border in a
straight line, which shows on a white page.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, Pixels8

BLACK = 2
"""Largest value (of 255) of a pixel that is shadow alone: a shadow has no colour of its own."""
BAND = 0.06
"""Width of the border in which a shadow fades, over the picture's longer side. By eye, on the demo's cut-outs."""
STRIP = 256
"""Rows that are worked on at once, so that memory does not grow with the picture."""


def tidied(picture: Pixels8) -> Pixels8:
    """A picture (h, w, 4), not premultiplied, whose shadow is free of specks and fades at the border.

    A pixel of shadow takes the median of itself and of its neighbours that are shadow, too (none of the subject's edge).
    """
    alpha = picture[..., 3].astype(np.float32)
    shadow = (picture[..., :3].max(axis=-1) <= BLACK) & (picture[..., 3] < 255)
    around = np.pad(np.where(shadow, alpha, np.nan), 1, constant_values=np.nan)
    height, width = alpha.shape
    smooth = np.zeros_like(alpha)
    for first in range(0, height, STRIP):
        last = min(first + STRIP, height)
        near = [around[first + y : last + y, x : x + width] for y in range(3) for x in range(3)]
        smooth[first:last] = _median(np.stack(near))
    result = picture.copy()
    result[..., 3] = np.where(shadow, np.rint(np.nan_to_num(smooth) * fading(height, width)), alpha).astype(np.uint8)
    return result


def _median(values: Floats) -> Floats:
    """(h, w) medians of (9, h, w) values without the NaN among them; NaN where all are."""
    ranked = np.sort(values, axis=0)  # NaN goes to the end
    count = (~np.isnan(values)).sum(axis=0)
    low, high = (np.take_along_axis(ranked, place[None], axis=0)[0] for place in (np.maximum(count - 1, 0) // 2, count // 2))
    return np.asarray(0.5 * (low + np.where(count % 2 == 0, high, low)))


def fading(height: int, width: int) -> Floats:
    """(h, w) factors: 0 at the border, 1 from `BAND` inwards, smooth between."""
    band = max(BAND * max(height, width), 1.0)
    down, across = (
        np.clip(np.minimum(np.arange(side), side - 1 - np.arange(side)) / band, 0.0, 1.0) for side in (height, width)
    )
    part = np.minimum(down[:, None], across[None, :])
    return np.asarray(part * part * (3.0 - 2.0 * part))
