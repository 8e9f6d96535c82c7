"""How much of the light was not read as such? What a paint is darker by in a cut, at large or in a hollow than in the open.

A photo shows texture = paint x light. What is left once the light and the relief's shading are divided out should vary as the
paint does where the piece lies open to its light; what goes beyond, and goes with the relief and the hollows, is light.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...srgb import luminance
from ..light.lamplight import Lit
from ..paint import FINE, PAINTED, lasting_light, shading_tint, smooth_colours, untinted_levels
from ..pigment import chromaticity
from ..speckle import masked_blur
from ..textured_surface import Surface
from .grain import along_grain
from .hollows import OPEN, depth_of, missed_in_hollows, openly
from .large import LargeMeans

REACH_MM = 0.8  # sigma of the surroundings whose shading tells how much may have been missed
DOUBT = 0.25  # of the shading that was read is missed, standard deviation (told by chance pieces)
LARGE_MM = 6.0  # mesh of the grid on which it is looked at what was missed at large


def missed_shading(surface: Surface, colours: Floats, lit: Lit, shading: Floats, relief: Floats) -> Floats:
    """(n,) log of the shading that was not read beside that of fine `relief` (n,): a paint is as bright in a cut as beside it.

    colours, shading: (n, 3) linear, the light with the relief's. How bright a paint is where it lies in the open, and further
    along its grain, tells how bright it is here; how far off these are in the open, how much it varies by itself. What is off
    in a cut is the shading's as far as that may have been missed, and the paint's for the rest; so it is at large, where much
    relief was read, and with what the mesh's own hollows lose. 0 for colours on vertices, which show no fine relief.
    """
    if surface.on_vertices:
        return np.zeros(len(colours), np.float32)
    shown = np.maximum(smooth_colours(surface, colours), 1e-3)
    remainder = (np.log(shown) - np.log(np.maximum(shading, 1e-3))).astype(np.float32)
    bright = np.log(luminance(np.exp(remainder)))
    deep = np.hypot(relief, depth_of(surface.texels.interpolate(surface.faces, lit.openness[:, None])[:, 0]))
    weights = openly(deep)
    found = np.zeros(len(colours), np.float32)
    ways = [bright]
    if lit.light.pigment >= PAINTED:
        tint = shading_tint(lasting_light(lit), surface.faces).astype(np.float32)
        hue = chromaticity(remainder) - relief[:, None] * tint
        ways.append(bright - untinted_levels(hue, bright, tint, FINE, weights))
        found += _missed_in_cuts(surface, [ways[1], bright - along_grain(surface, bright)], relief, deep)
    found += missed_at_large(surface, [one - found for one in ways], relief, weights)
    return found + missed_in_hollows(surface, lit.openness, bright - found)


def _missed_in_cuts(surface: Surface, ways: list[Floats], relief: Floats, deep: Floats) -> Floats:
    """(n,) what two ways (n,) of telling it say is off, as far as it may be shading that was missed beside that which was read.
    deep: (n,) log shading of relief and hollows."""
    nearest = deep <= max(OPEN / 2, float(deep.min()))
    off, own = _surest([np.clip(one - np.median(one[nearest]), -1, 1) for one in ways], openly(deep))
    raster, mask = surface.texels.scatter(np.square(relief)), surface.texels.mask()
    near = masked_blur(raster, mask, REACH_MM / max(surface.texel_mm, 1e-6)).reshape(-1)[surface.texels.index]
    missed = DOUBT**2 * near
    return (off * missed / np.maximum(missed + own, 1e-9)).astype(np.float32)


def missed_at_large(surface: Surface, ways: list[Floats], relief: Floats, weights: Floats) -> Floats:
    """(n,) log of the shading that was missed at the texels at large: dense relief turns a place to the light or away from it,
    and hides some of it from the room, as a whole.

    ways: one or two (n,), what is left of the log brightness, and that of it which the hue does not tell. relief: (n,), as in
    `missed_shading`: as much as it changes in the small may have been missed at large. weights: (n,) how open each lies. How
    much the paint varies at large is told where it lies open.
    """
    grid, vertices = LargeMeans(surface.vertices, surface.vertex_normal, LARGE_MM), len(surface.vertices)
    shown = np.stack([*ways, np.square(relief)], axis=1)
    means, count = surface.texels.gather(surface.faces, shown, vertices)
    *large, missed = (grid.of(values, count) for values in means.T)
    weighted, _ = surface.texels.gather(surface.faces, np.column_stack([shown[:, :-1] * weights[:, None], weights]), vertices)
    open_part = weighted[:, -1]
    opened = [grid.of(values / np.maximum(open_part, 1e-9), count * open_part) for values in weighted.T[:-1]]
    where = count * grid.of(open_part, count)
    part = _share([one - np.average(one, weights=count) for one in (large[0], large[-1])], count)
    off, own = (part * both[0] + (1 - part) * both[-1] for both in (large, opened))
    usual = np.average(own, weights=where)
    variance = np.average(np.square(own - usual), weights=where)
    most = 2 * np.sqrt(missed)
    found = np.clip(off - usual, -most, most) * missed / np.maximum(missed + variance, 1e-9)
    return surface.texels.interpolate(surface.faces, found[:, None].astype(np.float32))[:, 0]


def _surest(ways: list[Floats], weights: Floats) -> tuple[Floats, float]:
    """(n,) what two ways (n,) of telling it say together, such that it varies least by `weights` (n,), and its variance."""
    share = _share(ways, weights)
    off = share * ways[0] + (1 - share) * ways[1]
    return off, float(np.average(np.square(off), weights=weights))


def _share(ways: list[Floats], weights: Floats) -> float:
    """Share 0 to 1 of the first of two (n,) beside the second with which their sum varies least about 0 by `weights` (n,)."""
    one, other = ways
    a, b, both = (float(np.average(x * y, weights=weights)) for x, y in ((one, one), (other, other), (one, other)))
    return float(np.clip((b - both) / max(a + b - 2 * both, 1e-12), 0, 1))
