"""Estimates the shading that is still in the albedo: where a paint is darker in cuts, hollows or dense relief than in the open.

A photo shows texture = albedo x irradiance. Once the fitted light and the relief's shading are divided out, what is left should
vary as the paint does where the piece lies open to its light. Any further variation that follows the relief and the hollows is
residual shading.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...records import record
from ...srgb import luminance
from ..light.lamplight import Lit
from ..paint import PAINTS, lasting_light, shading_tint, smooth_colours, untinted_levels
from ..pigment import PIGMENTS, chromaticity
from ..speckle import masked_blur
from ..textured_surface import TexturedSurface
from .grain import along_grain
from .hollows import HOLLOWS, depth_of, open_weights, residual_in_hollows
from .large import LargeMeans


@record
class ResidualConstants:
    """Numbers of the residual shading."""

    reach_mm: float = 0.8
    """Sigma of the surroundings whose shading bounds the residual, mm (a guess)."""
    doubt: float = 0.25
    """Residual over the shading that was read, standard deviation (measured on random pieces of our own)."""
    large_mm: float = 6.0
    """Mesh width of the grid on which the residual is estimated at large, mm (a guess)."""


RESIDUAL = ResidualConstants()


def residual_shading(surface: TexturedSurface, colours: Floats, lit: Lit, shading: Floats, relief: Floats) -> Floats:
    """(n,) log of the shading that remains beside that of fine `relief` (n,): a paint is as bright in a cut as beside it.

    colours, shading: (n, 3) linear; the shading is the light's with the relief's.
    relief: (n,) log shading.

    A paint's brightness in the open, and further along its grain, predicts its brightness here; the error of that prediction in
    the open measures how much the paint varies by itself. In a cut the deviation from the prediction is split between shading
    and paint by their variances; the same is done at large, where much relief was read, and in the mesh's own hollows.
    0 for colours on vertices, which show no fine relief.
    """
    if surface.on_vertices:
        return np.zeros(len(colours), np.float32)
    shown = np.maximum(smooth_colours(surface, colours), 1e-3)
    remainder = (np.log(shown) - np.log(np.maximum(shading, 1e-3))).astype(np.float32)
    bright = np.log(luminance(np.exp(remainder)))
    deep = np.hypot(relief, depth_of(surface.texels.interpolate(surface.faces, lit.openness[:, None])[:, 0]))
    weights = open_weights(deep)
    found = np.zeros(len(colours), np.float32)
    ways = [bright]
    if lit.light.pigment >= PIGMENTS.plain:
        tint = shading_tint(lasting_light(lit), surface.faces).astype(np.float32)
        hue = chromaticity(remainder) - relief[:, None] * tint
        ways.append(bright - untinted_levels(hue, bright, tint, PAINTS.fine, weights))
        found += _residual_in_cuts(surface, [ways[1], bright - along_grain(surface, bright)], relief, deep)
    found += residual_at_large(surface, [way - found for way in ways], relief, weights)
    return found + residual_in_hollows(surface, lit.openness, bright - found)


def _residual_in_cuts(surface: TexturedSurface, ways: list[Floats], relief: Floats, deep: Floats) -> Floats:
    """(n,) residual shading in cuts, from two predictions of it (`ways`, (n,) each), up to what the shading read nearby allows.

    deep: (n,) log shading of relief and hollows.
    """
    nearest = deep <= max(HOLLOWS.open / 2, float(deep.min()))
    off, own = _surest([np.clip(way - np.median(way[nearest]), -1, 1) for way in ways], open_weights(deep))
    raster, mask = surface.texels.scatter(np.square(relief)), surface.texels.mask()
    near = masked_blur(raster, mask, RESIDUAL.reach_mm / max(surface.texel_mm, 1e-6)).reshape(-1)[surface.texels.index]
    variance = RESIDUAL.doubt**2 * near
    return (off * variance / np.maximum(variance + own, 1e-9)).astype(np.float32)


def residual_at_large(surface: TexturedSurface, ways: list[Floats], relief: Floats, weights: Floats) -> Floats:
    """(n,) log of the residual shading at large: dense relief as a whole turns a place to the light or away from it, and hides
    part of it from the room.

    ways: one or two (n,) log brightnesses: all that is left, and the part that the hue does not explain.
    relief: (n,) log shading of the fine relief; its variation bounds the residual.
    weights: (n,) openness; the paint's own variation at large is measured where it lies open.
    """
    grid, vertices = LargeMeans(surface.vertices, surface.vertex_normal, RESIDUAL.large_mm), len(surface.vertices)
    shown = np.stack([*ways, np.square(relief)], axis=1)
    means, count = surface.texels.gather(surface.faces, shown, vertices)
    *large, bound = (grid.of(values, count) for values in means.T)
    weighted, _ = surface.texels.gather(surface.faces, np.column_stack([shown[:, :-1] * weights[:, None], weights]), vertices)
    open_part = weighted[:, -1]
    opened = [grid.of(values / np.maximum(open_part, 1e-9), count * open_part) for values in weighted.T[:-1]]
    where = count * grid.of(open_part, count)
    part = _share([way - np.average(way, weights=count) for way in (large[0], large[-1])], count)
    off, own = (part * both[0] + (1 - part) * both[-1] for both in (large, opened))
    usual = np.average(own, weights=where)
    variance = np.average(np.square(own - usual), weights=where)
    most = 2 * np.sqrt(bound)
    found = np.clip(off - usual, -most, most) * bound / np.maximum(bound + variance, 1e-9)
    return surface.texels.interpolate(surface.faces, found[:, None].astype(np.float32))[:, 0]


def _surest(ways: list[Floats], weights: Floats) -> tuple[Floats, float]:
    """(n,) the mixture of two estimates (n,) with the least variance by `weights` (n,), and that variance."""
    share = _share(ways, weights)
    off = share * ways[0] + (1 - share) * ways[1]
    return off, float(np.average(np.square(off), weights=weights))


def _share(ways: list[Floats], weights: Floats) -> float:
    """Share 0 to 1 of the first of two (n,) in the mixture whose variance about 0 is least by `weights` (n,)."""
    first, second = ways
    a, b, both = (float(np.average(x * y, weights=weights)) for x, y in ((first, first), (second, second), (first, second)))
    return float(np.clip((b - both) / max(a + b - 2 * both, 1e-12), 0, 1))
