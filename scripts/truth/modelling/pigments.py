"""Colours on a surface that are known: to tell paint from shading, and to measure what light is left in the albedo."""

from __future__ import annotations

from typing import Any

import numpy as np

from .fields import Noise, ramp

Floats = Any
NAMES = ("printed", "wood", "painted")


def pigment(name: str, points: Floats, seed: int = 0) -> Floats:
    """(n, 3) linear albedo at points in mm, between 0.03 and 0.85. Raises KeyError for a name not in NAMES."""
    found = {"printed": _printed, "wood": _wood, "painted": _painted}[name](points, Noise(seed + 400))
    return np.clip(found, 0.03, 0.85)


def _blend(a: Any, b: Any, share: Floats) -> Floats:
    return np.asarray(a) + (np.asarray(b) - np.asarray(a)) * share[:, None]


def _printed(points: Floats, noise: Noise) -> Floats:
    """Transfer print: bands, rings and small leaves of blue and rust on a cream ground."""
    angle = np.arctan2(points[:, 0], -points[:, 1])
    colour = np.tile([0.70, 0.66, 0.56], (len(points), 1))
    band = ramp(np.abs((points[:, 2] % 17.0) - 8.5), 1.1, 0.9)
    colour = _blend(colour, [0.05, 0.09, 0.24], band)
    u, v = (angle * 12.0) % 5.0 - 2.5, (points[:, 2] % 8.5) - 4.25
    leaf = ramp(np.hypot(u * 1.0, v * 0.6 + 0.3 * u), 1.25, 1.05) * (1 - band)
    colour = _blend(colour, [0.33, 0.10, 0.05], leaf)
    vein = ramp(np.abs(u + 0.4 * v), 0.18, 0.08) * leaf
    colour = _blend(colour, [0.62, 0.50, 0.33], vein)
    return colour * (1 + 0.03 * noise(points, 2.0, octaves=2)[:, None])


def _wood(points: Floats, noise: Noise) -> Floats:
    """Rings of about 2.5 mm round a tilted pith, with fine pores drawn out along it."""
    bent = points + 1.4 * np.stack([noise(points + shift, 25.0) for shift in (0.0, 40.0, 80.0)], axis=1)
    radius = np.hypot(bent[:, 0] - 11.0 - 0.12 * bent[:, 2], bent[:, 1] + 17.0)
    ring = (radius / 2.5 + 0.15 * noise(points, 9.0)) % 1.0
    late = ramp(ring, 0.35, 0.9) * ramp(-ring, -1.0, -0.94)
    colour = _blend([0.42, 0.26, 0.13], [0.19, 0.10, 0.045], late)
    pores = ramp(noise(points * np.array([1.0, 1.0, 0.09]), 0.55), 1.2, 2.2)
    return colour * (1 - 0.45 * pores[:, None])


def _painted(points: Floats, noise: Noise) -> Floats:
    """Hand painting: broad areas with brushed borders, and a fine line here and there."""
    field = noise(points, 22.0, octaves=2)
    brush = noise(points * np.array([1.0, 1.0, 0.3]), 1.1, octaves=2)
    colour = _blend([0.62, 0.52, 0.36], [0.28, 0.07, 0.04], ramp(field + 0.12 * brush, 0.35, 0.45))
    colour = _blend(colour, [0.05, 0.16, 0.15], ramp(-field + 0.12 * brush, 0.55, 0.65))
    line = ramp(np.abs(noise(points + 60.0, 14.0)), 0.06, 0.03)
    return _blend(colour, [0.06, 0.05, 0.05], line * 0.9) * (1 + 0.06 * brush[:, None])
