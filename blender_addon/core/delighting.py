"""How is the room's light taken out of a texture? Fit it, carry it over the surface, divide."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .relief.spherical_harmonics import irradiance_basis, robust_fit
from .relief.surface import Surface

Floats = NDArray[np.floating]


@dataclass(frozen=True)
class Delit:
    """A texture without its light.

    albedo: (n, 3) float32 linear, 0 to 1, at the texels. shading: (n, 3) what was divided out, mean 1. spread_before, _after:
    standard deviation of log luminance.
    """

    albedo: Floats
    shading: Floats
    spread_before: float
    spread_after: float


FLOOR = 0.05  # shading is never taken to be darker than this part of its median: nothing is blown up out of noise


def delight(surface: Surface, colours: Floats) -> Delit:
    """The albedo in the texels from linear texture colours (n, 3), by a spherical-harmonic light on the normals."""
    means, weights = surface.texels.gather(surface.faces, colours, len(surface.vertices))
    design = irradiance_basis(surface.vertex_normal)
    shading = np.ones((len(surface.vertices), 3))
    seen = weights > 0
    for channel in range(3):
        light = robust_fit(design[seen], np.maximum(means[seen, channel], 1e-4), weights[seen])
        shade = design @ light
        level = np.median(shade[seen])
        shading[:, channel] = np.maximum(shade, FLOOR * level) / max(level, 1e-9) if level > 0 else 1.0
    at_texels = surface.texels.interpolate(surface.faces, shading)
    return finished(colours, at_texels)


def finished(colours: Floats, shading: Floats) -> Delit:
    """Divide, keep the texture's own median brightness, bring into gamut without clipping hue."""
    albedo = colours / np.maximum(shading, 1e-3)
    level = np.median(colours.sum(axis=1)) / max(float(np.median(albedo.sum(axis=1))), 1e-6)
    albedo = into_gamut(albedo * level)
    before, after = (float(np.std(np.log(np.maximum(x.mean(axis=1), 1e-3)))) for x in (colours, albedo))
    return Delit(albedo.astype(np.float32), shading.astype(np.float32), before, after)


def into_gamut(linear: Floats, *, black: float = 0.002, knee: float = 0.8) -> Floats:
    """Colours (n, 3) with every channel in (0, 1): dark ones lifted to `black`, bright ones rolled off above `knee`.

    The roll-off acts on the largest channel and scales the colour, so that hue stays.
    """
    peak = linear.max(axis=1, keepdims=True)
    over = np.maximum(peak - knee, 0) / (1 - knee)
    rolled = np.where(peak > knee, knee + (1 - knee) * over / (1 + over), peak)
    return np.clip(linear * rolled / np.maximum(peak, 1e-6), black, 1.0)
