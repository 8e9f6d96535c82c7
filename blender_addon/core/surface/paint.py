"""Estimates the paint at every texel: its hue, and its brightness as far as that follows from the hue.

Deep places have a hue too, since their surroundings light them in their own colour; a cut then looks like a dark paint of that
hue. How much the hue shifts where the light falls off is known from the mesh's own hollows, so that the level is estimated a
second time without that shift. The net decides between the two.
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, Ints
from ..mesh.triangles import edges
from ..records import record
from ..srgb import luminance
from ..threads import in_parallel
from .bandpass import gaussian_blur
from .light.lamplight import Lit
from .pigment import PIGMENTS, chromaticity, find_pigments
from .textured_surface import TexturedSurface


@record
class PaintsConstants:
    """Numbers of telling paint from shading; guesses."""

    smooth_texels: float = 1.5
    """Sigma of the blur before colours are read, texels."""
    fine: float = 0.02
    """Distance in log chromaticity below which paints of a texture count as one."""
    some: int = 250_000
    """Texels from which the paints are found, to bound the time."""
    rounds: int = 3
    """Rounds of removing the shading's tint."""
    shaded: tuple[float, float] = (-2.0, 0.7)
    """Log brightness relative to the paint that can be shading."""
    steady: float = 0.02
    """Log brightness between neighbouring vertices below which a difference counts less, since it is noise."""


PAINTS = PaintsConstants()


@record
class Paint:
    """Paint at the n texels, float32; all 0 on a plain piece.

    level: (n,) log of its luminance over the rest's, as far as its hue identifies it.
    hue: (n, 2) log of red and of blue over green, the light divided out.
    untinted: (n,) the level, estimated from hues without the tint of shaded places.
    """

    level: Floats
    hue: Floats
    untinted: Floats


def paint_of(surface: TexturedSurface, colours: Floats, lit: Lit) -> Paint:
    """The paint that linear texel `colours` (n, 3) show under a fitted light."""
    none = np.zeros(len(colours), np.float32)
    if lit.light.pigment < PIGMENTS.plain:
        return Paint(none, np.zeros((len(colours), 2), np.float32), none)
    step = PIGMENTS.bin if surface.on_vertices else PAINTS.fine
    irradiance = lasting_light(lit)
    light = surface.texels.interpolate(surface.faces, irradiance)
    near = np.maximum(smooth_colours(surface, colours), 1e-3)
    remainder = (np.log(near) - np.log(np.maximum(light, 1e-3))).astype(np.float32)
    bright, hue = np.log(luminance(np.exp(remainder))), chromaticity(remainder)
    tint = shading_tint(irradiance, surface.faces).astype(np.float32)
    return Paint(_levels(hue, bright, step), hue, untinted_levels(hue, bright, tint, step))


def shading_tint(irradiance: Floats, faces: Ints) -> Floats:
    """(2,) slope of the log of red and of blue over green against the log of the light, over the edges of the mesh.

    irradiance: (v, 3) > 0. An L1-like weighting keeps outliers from counting much.
    """
    pairs, _ = edges(faces)
    bright, hue = np.log(luminance(irradiance)), chromaticity(np.log(irradiance))
    step = bright[pairs[:, 0]] - bright[pairs[:, 1]]
    weight = step / (np.abs(step) + PAINTS.steady)
    turn = weight @ (hue[pairs[:, 0]] - hue[pairs[:, 1]])
    return turn / max(float(weight @ step), 1e-9)


def lasting_light(lit: Lit) -> Floats:
    """(v, 3) irradiance, nowhere so dark that its hue is chance."""
    return np.maximum(lit.shading.irradiance, 0.02 * np.median(lit.shading.irradiance, axis=0))


def smooth_colours(surface: TexturedSurface, colours: Floats) -> Floats:
    """(n, 3) colours smoothed by a texel or two: colour noise then makes no paints of its own, and the close hues of a grain's
    light and dark lines can be separated. Colours on vertices are means already and stay."""
    if surface.on_vertices:
        return colours
    inside = surface.texels.mask().astype(np.float32)

    def blurred(raster: Floats) -> Floats:
        return gaussian_blur(raster, PAINTS.smooth_texels).reshape(-1)[surface.texels.index]

    area, *channels = in_parallel(blurred, [inside, *(surface.texels.scatter(colours[:, channel]) for channel in range(3))])
    return np.stack(channels, axis=1) / np.maximum(area, 1e-3)[:, None]


def untinted_levels(hue: Floats, bright: Floats, tint: Floats, step: float, weights: Floats | None = None) -> Floats:
    """(n,) level of the paint at each place, from the log chromaticity (n, 2) and brightness (n,) of all, by `weights` (n,).

    The `tint` (2,) of what is darker than its paint is taken out of the hue. step: log chromaticity within which two are one.

    bright: (n,) log luminance.
    """
    found = _levels(hue, bright, step, weights)
    for _ in range(PAINTS.rounds):
        shade = bright - found
        shade = np.clip(shade - np.median(shade), *PAINTS.shaded)
        found = _levels(hue - shade[:, None] * tint, bright, step, weights)
    return found


def _levels(hue: Floats, bright: Floats, step: float, weights: Floats | None = None) -> Floats:
    """(n,) level of the paint at each place, from the log chromaticity (n, 2) and brightness (n,) of all, by `weights` (n,)."""
    every = slice(None, None, max(1, len(hue) // PAINTS.some))
    share = np.ones(len(hue)) if weights is None else weights
    found = find_pigments(hue[every], bright[every, None], share[every], step=step)
    return found.at(hue)[:, 0].astype(np.float32)
