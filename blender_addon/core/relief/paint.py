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
    level = untinted = _levels(hue, bright, step)
    for _ in range(ROUNDS):
        shade = bright - untinted
        shade = np.clip(shade - np.median(shade), *SHADED)
        untinted = _levels(hue - shade[:, None] * tint, bright, step)
    return Paint(level, hue, untinted)


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
    in a cut is the shading's as far as that may have been missed, and the paint's for the rest; so it is with what
    the mesh's own hollows lose at large. 0 on a plain piece.
    """
    if lit.light.pigment < PAINTED or surface.on_vertices:
        return np.zeros(len(colours), np.float32)
    remainder = (np.log(np.maximum(_smooth(surface, colours), 1e-3)) - np.log(np.maximum(shading, 1e-3))).astype(np.float32)
    tint = shading_tint(_lasting_light(lit), surface.faces).astype(np.float32)
    bright, hue = np.log(luminance(np.exp(remainder))), chromaticity(remainder) - relief[:, None] * tint
    deep = np.hypot(relief, depth_of(surface.texels.interpolate(surface.faces, lit.openness[:, None])[:, 0]))
    weights = openly(deep)
    nearest = deep <= max(OPEN / 2, float(deep.min()))
    ways = [bright - _levels(hue, bright, FINE, weights), bright - along_grain(surface, bright)]
    off, own = _surest([np.clip(one - np.median(one[nearest]), -1, 1) for one in ways], weights)
    raster, mask = surface.texels.scatter(np.square(relief)), surface.texels.mask()
    near = masked_blur(raster, mask, REACH_MM / max(surface.texel_mm, 1e-6)).reshape(-1)[surface.texels.index]
    missed = DOUBT**2 * near
    found = (off * missed / np.maximum(missed + own, 1e-9)).astype(np.float32)
    return found + missed_in_hollows(surface, lit.openness, bright - found)


def _surest(ways: list[Floats], weights: Floats) -> tuple[Floats, float]:
    """(n,) what two ways (n,) of telling it say together, such that it varies least by `weights` (n,), and its variance."""
    one, other = ways
    a, b, both = (float(np.average(x * y, weights=weights)) for x, y in ((one, one), (other, other), (one, other)))
    share = float(np.clip((b - both) / max(a + b - 2 * both, 1e-12), 0, 1))
    off = share * one + (1 - share) * other
    return off, float(np.average(np.square(off), weights=weights))


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


def _levels(hue: Floats, bright: Floats, step: float, weights: Floats | None = None) -> Floats:
    """(n,) level of the paint at each place, from the log chromaticity (n, 2) and brightness (n,) of all, by `weights` (n,)."""
    every = slice(None, None, max(1, len(hue) // SOME))
    share = np.ones(len(hue)) if weights is None else weights
    found = find_pigments(hue[every], bright[every, None], share[every], step=step)
    return found.at(hue)[:, 0].astype(np.float32)
