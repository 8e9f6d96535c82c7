"""What does a texture show of paint? Its level, as far as its colour tells it, and its hue, at every texel.

Deep places have a hue too: what lies round them lights them, in its own colour. A cut is then taken for a dark paint of that
hue. How much the hue turns where the light falls off is known from the mesh's own hollows, so that the level is told a second
time with that taken out; between the two the net decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from ..mesh import edges
from ..srgb import luminance
from ..threads import spread
from .bandpass import gaussian_blur
from .grain import along_grain
from .hollows import OPEN, depth_of, missed_in_hollows, openly
from .lamplight import Lit
from .large import LargeMeans
from .pigment import BIN, chromaticity, find_pigments
from .speckle import masked_blur
from .surface import Surface

Floats = NDArray[Any]
Ints = NDArray[Any]

SMOOTH_TEXELS = 1.5  # sigma
FINE = 0.02  # of log chromaticity: paints of a texture that are closer than this are one
SOME = 250_000  # texels that the paints are found from
PAINTED = 0.02  # deviation of the pigments' log levels below which a piece counts as plain
ROUNDS = 3  # of taking the shading's tint out
SHADED = (-2.0, 0.7)  # log brightness beside the paint that can be shading
REACH_MM = 0.3  # sigma of the surroundings whose shading tells how much may have been missed
DOUBT = 0.4  # of the shading that was read is missed, standard deviation (owl and sharp tooling, painted, of the bench)
LARGE_MM = 6.0  # mesh of the grid on which it is looked at what was missed at large (on chance pieces that no bench has)
STEADY = 0.02  # log brightness from one vertex to the next below which a difference counts less: noise


@dataclass(frozen=True)
class Paint:
    """Paint at the texels. level: (n,) log of its luminance over the rest's, as far as its colour tells it. hue: (n, 2) log of
    red and of blue over green, the light taken out. untinted: (n,) the level told with the tint of what is shaded taken out.
    All float32, and 0 on a plain piece.
    """

    level: Floats
    hue: Floats
    untinted: Floats


def paint_of(surface: Surface, colours: Floats, lit: Lit) -> Paint:
    """The paint that linear texel `colours` (n, 3) show under a fitted light."""
    none = np.zeros(len(colours), np.float32)
    if lit.light.pigment < PAINTED:
        return Paint(none, np.zeros((len(colours), 2), np.float32), none)
    step = BIN if surface.on_vertices else FINE
    irradiance = _lasting_light(lit)
    light = surface.texels.interpolate(surface.faces, irradiance)
    near = np.maximum(_smooth(surface, colours), 1e-3)
    remainder = (np.log(near) - np.log(np.maximum(light, 1e-3))).astype(np.float32)
    bright, hue = np.log(luminance(np.exp(remainder))), chromaticity(remainder)
    tint = shading_tint(irradiance, surface.faces).astype(np.float32)
    return Paint(_levels(hue, bright, step), hue, _untinted(hue, bright, tint, step))


def shading_tint(irradiance: Floats, faces: Ints) -> Floats:
    """(2,) by how much the log of red and of blue over green goes up where the log of the light does, from one vertex to the
    next. irradiance: (v, 3) > 0. Differences count by their size, so that outliers pull little.
    """
    pairs, _ = edges(faces)
    bright, hue = np.log(luminance(irradiance)), chromaticity(np.log(irradiance))
    step = bright[pairs[:, 0]] - bright[pairs[:, 1]]
    weight = step / (np.abs(step) + STEADY)
    turn = weight @ (hue[pairs[:, 0]] - hue[pairs[:, 1]])
    return turn / max(float(weight @ step), 1e-9)


def missed_shading(surface: Surface, colours: Floats, lit: Lit, shading: Floats, relief: Floats) -> Floats:
    """(n,) log of the shading that was not read beside that of fine `relief` (n,): a paint is as bright in a cut as beside it.

    colours, shading: (n, 3) linear, the light with the relief's. How bright a paint is where it lies in the open, and further
    along its grain, tells how bright it is here; how far off these are in the open, how much it varies by itself. What is off
    in a cut is the shading's as far as that may have been missed, and the paint's for the rest; so it is at large, where much
    relief was read, and with what the mesh's own hollows lose. 0 for colours on vertices, which show no fine relief.
    """
    if surface.on_vertices:
        return np.zeros(len(colours), np.float32)
    remainder = (np.log(np.maximum(_smooth(surface, colours), 1e-3)) - np.log(np.maximum(shading, 1e-3))).astype(np.float32)
    bright = np.log(luminance(np.exp(remainder)))
    deep = np.hypot(relief, depth_of(surface.texels.interpolate(surface.faces, lit.openness[:, None])[:, 0]))
    weights = openly(deep)
    found = np.zeros(len(colours), np.float32)
    ways = [bright]
    if lit.light.pigment >= PAINTED:
        tint = shading_tint(_lasting_light(lit), surface.faces).astype(np.float32)
        hue = chromaticity(remainder) - relief[:, None] * tint
        ways.append(bright - _untinted(hue, bright, tint, FINE, weights))
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


def _lasting_light(lit: Lit) -> Floats:
    """(v, 3) irradiance, nowhere so dark that its hue is chance."""
    return np.maximum(lit.shading.irradiance, 0.02 * np.median(lit.shading.irradiance, axis=0))


def _smooth(surface: Surface, colours: Floats) -> Floats:
    """A photo's colour noise is finer than its edges: smoothed by a texel or two it no longer makes paints of its own, and a
    grain's light and dark, whose hues are next to one, are told apart. Colours on vertices are means already."""
    if surface.on_vertices:
        return colours
    inside = surface.texels.mask().astype(np.float32)

    def blurred(raster: Floats) -> Floats:
        return gaussian_blur(raster, SMOOTH_TEXELS).reshape(-1)[surface.texels.index]

    area, *channels = spread(blurred, [inside, *(surface.texels.scatter(colours[:, channel]) for channel in range(3))])
    return np.stack(channels, axis=1) / np.maximum(area, 1e-3)[:, None]


def _untinted(hue: Floats, bright: Floats, tint: Floats, step: float, weights: Floats | None = None) -> Floats:
    """(n,) `_levels`, told with the `tint` (2,) of what is darker than its paint taken out of the hue."""
    found = _levels(hue, bright, step, weights)
    for _ in range(ROUNDS):
        shade = bright - found
        shade = np.clip(shade - np.median(shade), *SHADED)
        found = _levels(hue - shade[:, None] * tint, bright, step, weights)
    return found


def _levels(hue: Floats, bright: Floats, step: float, weights: Floats | None = None) -> Floats:
    """(n,) level of the paint at each place, from the log chromaticity (n, 2) and brightness (n,) of all, by `weights` (n,)."""
    every = slice(None, None, max(1, len(hue) // SOME))
    share = np.ones(len(hue)) if weights is None else weights
    found = find_pigments(hue[every], bright[every, None], share[every], step=step)
    return found.at(hue)[:, 0].astype(np.float32)
