"""How are values quantised for a file? Rounded to 16 bits; to 8 bits with a little noise, so that no banding is seen."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, Pixels, Pixels8, Pixels16
from ..files.pictures.icc import SRGB, Gamut, between
from ..srgb import decode, encode

NOISE_SIDE = 128
"""Side in pixels of the tile of noise: too wide for its repetition to be seen."""


def to_numbers(strip: Floats, bits: int, *, first: int = 0, seed: int = 7) -> Pixels:
    """(k, w, c) integers of `bits` bits for values 0 to 1; first: the strip's top row in the picture, by which the noise is
    indexed."""
    clipped = np.clip(strip, 0.0, 1.0)
    if bits == 16:
        return np.rint(clipped * 65535.0).astype(np.uint16)
    return (clipped * np.float32(255.0) + _noise((strip.shape[0], strip.shape[1]), first, seed)[..., None]).astype(np.uint8)


def reduced(strip: Pixels16, *, first: int = 0, seed: int = 7) -> Pixels8:
    """(k, w, c) 8-bit integers for 16-bit ones, with the same noise."""
    return to_numbers(strip.astype(np.float32) / np.float32(65535.0), 8, first=first, seed=seed).astype(np.uint8)


def _noise(shape: tuple[int, int], first: int, seed: int) -> Floats:
    """(k, w) uniform noise within 0.5 +- 0.48: exact integers are kept, other values keep their mean."""
    tile = (0.02 + 0.96 * np.random.default_rng(seed).random((NOISE_SIDE, NOISE_SIDE))).astype(np.float32)
    rows, columns = (first + np.arange(shape[0])) % NOISE_SIDE, np.arange(shape[1]) % NOISE_SIDE
    return tile[np.ix_(rows, columns)]


def in_gamut(strip: Floats, gamut: Gamut) -> Floats:
    """sRGB values converted to another gamut, for the same colours."""
    if gamut == SRGB:
        return strip
    return encode(np.clip(decode(np.clip(strip, 0.0, 1.0)) @ between(SRGB, gamut).T.astype(np.float32), 0.0, 1.0))
