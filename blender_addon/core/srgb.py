"""How are display-encoded sRGB values turned into linear light and back?

The two-part curve of IEC 61966-2-1; luminance weights of ITU-R BT.709 for linear values.
"""

from __future__ import annotations

import numpy as np

from .arrays import Floats

LUMINANCE = np.array([0.2126, 0.7152, 0.0722], np.float32)
"""Weights of linear red, green and blue in luminance (BT.709)."""


def decode(values: Floats) -> Floats:
    """Linear light from display-encoded values 0 to 1 (IEC 61966-2-1); any shape, float32 out."""
    values = np.asarray(values, np.float32)
    return np.where(values <= 0.04045, values / 12.92, ((np.maximum(values, 0) + 0.055) / 1.055) ** 2.4).astype(np.float32)


def encode(values: Floats) -> Floats:
    """Display-encoded values from linear light 0 to 1 (IEC 61966-2-1); any shape, float32 out."""
    values = np.asarray(values, np.float32)
    curve = 1.055 * np.maximum(values, 0.0031308) ** (1 / 2.4) - 0.055
    return np.where(values <= 0.0031308, values * 12.92, curve).astype(np.float32)


def luminance(linear: Floats) -> Floats:
    """(...,) luminance of linear colours (..., 3 or 4)."""
    return np.asarray(linear, np.float32)[..., :3] @ LUMINANCE
