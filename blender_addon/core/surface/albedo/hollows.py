"""How much light is missed in hollows? A scan fills them a little, so that they look more open than they are.

Light that is missed there makes what is left look like a darker paint, and of a hue that fits: deep in a hollow most light has
bounced off the piece itself. Hue then tells nothing. What does is how even the paint is at large where the piece lies open: one
that is not darker here and brighter there has no reason to be so in its hollows.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ..textured_surface import Surface
from .large import LargeMeans

SHUT = 0.05  # openness below which a place counts as no deeper
OPEN = 0.1  # log of the shading in a hollow or of fine relief below which a place counts as open
DOUBT = 0.2
"""Of the log of openness is missed, standard deviation: what the fitted light is off by in the narrow gaps of the bench's sharp
tooling; in broad hollows it is off by less."""
LARGE_MM = 4.0  # mesh of the grid on which paint is looked at at large


def depth_of(openness: Floats) -> Floats:
    """Log, 0 or less, of openness (n,)."""
    return np.log(np.clip(openness, SHUT, 1.0)).astype(np.float32)


def openly(depth: Floats) -> Floats:
    """Weights of places at log shading `depth` (n,): 1 in the open, next to 0 where it is deep; never none, even if all is."""
    return np.maximum(np.exp(-np.square(depth / OPEN)), 1e-6)


def missed_in_hollows(surface: Surface, openness: Floats, bright: Floats) -> Floats:
    """(n,) log of the shading that was missed at the texels, from what light and relief leave of the log brightness there.

    openness: (v,) of the vertices. bright: (n,). 0 where the piece is open, and next to 0 where its paint varies at large.
    """
    means, count = surface.texels.gather(surface.faces, bright[:, None], len(surface.vertices))
    depth = depth_of(openness)
    lost = DOUBT * np.maximum(-depth - OPEN, 0)
    grid, weights = LargeMeans(surface.vertices, surface.vertex_normal, LARGE_MM), count * openly(depth)
    large = grid.of(means[:, 0], count)
    usual = np.average(large, weights=weights)
    own = np.average(np.square(large - usual), weights=weights)
    off = grid.of(means[:, 0] - usual, count * np.square(lost))  # a gap narrower than the grid's mesh speaks for itself
    # no more than may have been missed: a stain in a shallow place stays
    found = np.clip(off, -2 * lost, 2 * lost) * np.square(lost) / np.maximum(np.square(lost) + own, 1e-9)
    return surface.texels.interpolate(surface.faces, found[:, None].astype(np.float32))[:, 0]
