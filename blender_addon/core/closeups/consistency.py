"""Are the normals and albedos of single pixels consistent under the assumed lamps? This finds lamps even on a nearly flat form.

With three lamps and more each pixel gives its own normal and albedo (Woodham 1980). Lamps in a wrong place bend all normals
alike and make the albedo depend on them (a linear map of b, which leaves the photos as they are: Belhumeur, Kriegman and
Yuille, The Bas-Relief Ambiguity, IJCV 35, 1999). So lamps are right where the albedo within a small block is even, the normals'
mean over the block is the form's, and a fourth photo agrees with the first three."""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..records import record
from .stereo import inverse, products

ALBEDO = 0.06
"""Standard deviation of the log of the albedo within a block: of clay and stone at 1 mm; our guess."""
NORMAL = 0.08
"""Standard deviation of a block's mean slope against the form's: the scan's own error over a millimetre, 4 degrees; our
guess."""
LIGHT = 0.04
"""Relative error of a photo's light against the others': our bench's measure."""
FEWEST = 3
"""Photos in which a pixel must be usable, since a normal and an albedo are three unknowns."""


@record
class BlockPixels:
    """Pixels (m,) in small blocks: points (m, 3) mm, the form's normals (m, 3), values (m, k) decoded, usable (m, k), block
    (m,) 0 to the number of blocks."""

    points: Floats
    normals: Floats
    values: Floats
    usable: Bools
    block: Ints


def disagreement(pixels: BlockPixels, ways: Floats, strength: Floats, room: float, curve: float) -> Floats:
    """Residuals in standard deviations, robustly weighted (Cauchy): (m + m k + 3 blocks,) of albedo, photos and block means.

    ways: (m, k, 3) unit directions to the lamps. strength: (m, k) their irradiance. room: irradiance of the room's light, in
    the same unit. curve: exponent from the photos' decoded values to light.
    """
    light = np.power(np.maximum(pixels.values, 1e-5), curve)
    design = strength[..., None] * ways + room * pixels.normals[:, None]
    noise = LIGHT * light + 0.004
    weight = pixels.usable / noise**2
    level = float(np.median(light.sum(axis=1) / np.maximum(strength.sum(axis=1), 1e-9)))
    loose = np.eye(3) / (0.5 * max(level, 1e-6)) ** 2  # so that pixels with two photos stay finite
    expected = level * pixels.normals
    b = expected
    for turn in range(3):
        if turn:
            off = (light - np.einsum("nkc,nc->nk", design, b)) / noise
            weight = pixels.usable / (1 + (off / 3) ** 2) ** 2 / noise**2
        right = np.einsum("nki,nk->ni", design, weight * light) + 1e-2 * np.einsum("ij,nj->ni", loose, expected)
        b = np.einsum("nij,nj->ni", inverse(products(design, weight) + 1e-2 * loose), right)
    pale = np.maximum(np.linalg.norm(b, axis=1), 1e-7)
    good = pixels.usable.sum(axis=1) >= FEWEST
    count = np.maximum(np.bincount(pixels.block, good), 1e-9)
    log = np.log(pale)
    uneven = np.where(good, log - (np.bincount(pixels.block, good * log) / count)[pixels.block], 0) / ALBEDO
    off = np.where(pixels.usable & good[:, None], (light - np.einsum("nkc,nc->nk", design, b)) / noise, 0)
    climb = np.maximum(np.einsum("ni,ni->n", b / pale[:, None], pixels.normals), 0.3)
    slope = np.clip(pixels.normals - b / pale[:, None] / climb[:, None], -2, 2)
    mean = np.stack([np.bincount(pixels.block, good * component) for component in slope.T], axis=1) / count[:, None] / NORMAL
    weigh = np.sqrt(len(pixels.block) / max(len(count), 1) / 4)  # a block's mean speaks for a quarter of its pixels
    return np.concatenate([_soft(uneven), 0.5 * _soft(off).ravel(), weigh * _soft(mean).ravel()])


def _soft(values: Floats) -> Floats:
    """Values whose squares grow as Cauchy's loss."""
    return np.asarray(np.sign(values) * np.sqrt(np.log1p(values**2)))
