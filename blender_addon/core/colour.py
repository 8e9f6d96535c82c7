"""How far apart are two colours, and what colour has a warm lamp? CIE L*a*b*, CIEDE2000, black bodies.

Colours are linear with Rec. 709 primaries and the D65 white unless said otherwise, the last axis holds the channels;
sRGB's transfer curve is in `srgb.py`.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from .arrays import Floats, Ints
from .srgb import luminance

TO_XYZ = np.array([[0.4124564, 0.3575761, 0.1804375], [0.2126729, 0.7151522, 0.0721750], [0.0193339, 0.1191920, 0.9503041]])
"""Linear Rec. 709 to CIE 1931 XYZ, D65: from the chromaticities of IEC 61966-2-1, to seven digits."""

WHITE = TO_XYZ.sum(axis=1)
"""XYZ of white."""


def lab(linear: ArrayLike) -> Floats:
    """CIE 1976 L*a*b* of linear colours (..., 3), white = linear (1, 1, 1) (CIE 15:2004)."""
    ratio = np.asarray(linear, float) @ TO_XYZ.T / WHITE
    edge = (6 / 29) ** 3
    f = np.where(ratio > edge, np.cbrt(ratio), ratio / (3 * (6 / 29) ** 2) + 4 / 29)
    return np.stack([116 * f[..., 1] - 16, 500 * (f[..., 0] - f[..., 1]), 200 * (f[..., 1] - f[..., 2])], axis=-1)


def delta_e_2000(first: ArrayLike, second: ArrayLike) -> Floats:
    """CIEDE2000 colour difference of L*a*b* colours (..., 3), with kL = kC = kH = 1.

    Sharma, Wu & Dalal 2005, "The CIEDE2000 color-difference formula: implementation notes", whose steps are followed.
    """
    here, there = np.asarray(first, float), np.asarray(second, float)
    chroma = 0.5 * (np.hypot(here[..., 1], here[..., 2]) + np.hypot(there[..., 1], there[..., 2]))
    stretch = 1 + 0.5 * (1 - np.sqrt(chroma**7 / (chroma**7 + 25.0**7)))
    c1, h1 = _polar(here[..., 1] * stretch, here[..., 2])
    c2, h2 = _polar(there[..., 1] * stretch, there[..., 2])
    grey = c1 * c2 == 0
    turn = np.where(grey, 0.0, (h2 - h1 + 180.0) % 360.0 - 180.0)
    turn = np.where(~grey & (h2 - h1 == 180.0), 180.0, turn)
    big_l, big_c = there[..., 0] - here[..., 0], c2 - c1
    big_h = 2 * np.sqrt(c1 * c2) * np.sin(np.radians(turn / 2))
    mean_l, mean_c = 0.5 * (here[..., 0] + there[..., 0]), 0.5 * (c1 + c2)
    mean_h = np.where(grey, h1 + h2, _mean_hue(h1, h2))
    t = 1 - 0.17 * _cos(mean_h - 30) + 0.24 * _cos(2 * mean_h) + 0.32 * _cos(3 * mean_h + 6) - 0.20 * _cos(4 * mean_h - 63)
    s_l = 1 + 0.015 * (mean_l - 50) ** 2 / np.sqrt(20 + (mean_l - 50) ** 2)
    s_c, s_h = 1 + 0.045 * mean_c, 1 + 0.015 * mean_c * t
    twist = 30 * np.exp(-(((mean_h - 275) / 25) ** 2))
    r_t = -2 * np.sqrt(mean_c**7 / (mean_c**7 + 25.0**7)) * np.sin(np.radians(2 * twist))
    light, c, h = big_l / s_l, big_c / s_c, big_h / s_h
    return np.sqrt(np.maximum(light * light + c * c + h * h + r_t * c * h, 0.0))


def _polar(a: Floats, b: Floats) -> tuple[Floats, Floats]:
    return np.hypot(a, b), np.degrees(np.arctan2(b, a)) % 360.0


def _cos(degrees: Floats | Ints) -> Floats:
    return np.cos(np.radians(degrees))


def _mean_hue(h1: Floats, h2: Floats) -> Floats:
    total = h1 + h2
    far = np.abs(h1 - h2) > 180.0
    return 0.5 * np.where(far, np.where(total < 360.0, total + 360.0, total - 360.0), total)


def blackbody(kelvin: float) -> Floats:
    """(3,) linear Rec. 709 colour of a black body at luminance 1, 1000 to 15000 K.

    Planck's law through the piecewise-Gaussian fit of the CIE 1931 matching functions by Wyman, Sloan & Shirley 2013.
    """
    wave = np.arange(380.0, 781.0, 5.0)
    power = wave**-5.0 / (np.exp(1.4387769e7 / (wave * kelvin)) - 1.0)
    xyz = _matching(wave) @ power
    rgb = np.maximum(np.linalg.solve(TO_XYZ, xyz / xyz[1]), 0.0)
    return rgb / luminance(rgb)


def _matching(wave: Floats) -> Floats:
    def lobe(height: float, middle: float, left: float, right: float) -> Floats:
        width = np.where(wave < middle, left, right)
        return height * np.exp(-0.5 * ((wave - middle) * width) ** 2)

    x = lobe(0.362, 442.0, 0.0624, 0.0374) + lobe(1.056, 599.8, 0.0264, 0.0323) + lobe(-0.065, 501.1, 0.0490, 0.0382)
    y = lobe(0.821, 568.8, 0.0213, 0.0247) + lobe(0.286, 530.9, 0.0613, 0.0322)
    z = lobe(1.217, 437.0, 0.0845, 0.0278) + lobe(0.681, 459.0, 0.0385, 0.0725)
    return np.stack([x, y, z])
