"""How much shading is left in hollows? A scan fills them a little, so that they look more open than they are.

That leaves them too dark in the albedo, and in a hue that fits a paint, since most light deep in a hollow has bounced off the
piece itself: hue can't separate the two. The evenness of the paint at large, where the piece lies open, can: a paint that does
not vary there has no reason to be darker in the hollows.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...records import record
from ..textured_surface import TexturedSurface
from .large import LargeMeans


@record
class HollowsConstants:
    """Numbers of the shading that is left in hollows."""

    shut: float = 0.05
    """Openness below which places count as equally deep (a guess)."""
    open: float = 0.1
    """Magnitude of the log shading, in a hollow or of fine relief, below which a place counts as open (a guess)."""
    doubt: float = 0.2
    """Error of the fitted light over the log of openness, standard deviation, in the narrow gaps of the bench's sharp tooling
    (set there); in broad hollows it is less."""
    large_mm: float = 4.0
    """Spacing of the grid on which the paint is averaged, mm (a guess)."""


HOLLOWS = HollowsConstants()


def depth_of(openness: Floats) -> Floats:
    """Log, 0 or less, of openness (n,)."""
    return np.log(np.clip(openness, HOLLOWS.shut, 1.0)).astype(np.float32)


def open_weights(depth: Floats) -> Floats:
    """(n,) weights of places with log shading `depth` (n,): 1 in the open, near 0 where it is deep, never 0."""
    return np.maximum(np.exp(-np.square(depth / HOLLOWS.open)), 1e-6)


def residual_in_hollows(surface: TexturedSurface, openness: Floats, bright: Floats) -> Floats:
    """(n,) log of the residual shading at the texels: 0 where the piece is open, near 0 where its paint varies at large.

    openness: (v,) 0 to 1, of the vertices. bright: (n,) log brightness that light and relief leave.
    """
    means, count = surface.texels.gather(surface.faces, bright[:, None], len(surface.vertices))
    depth = depth_of(openness)
    lost = HOLLOWS.doubt * np.maximum(-depth - HOLLOWS.open, 0)
    grid, weights = LargeMeans(surface.vertices, surface.vertex_normal, HOLLOWS.large_mm), count * open_weights(depth)
    large = grid.of(means[:, 0], count)
    usual = np.average(large, weights=weights)
    own = np.average(np.square(large - usual), weights=weights)
    off = grid.of(means[:, 0] - usual, count * np.square(lost))  # a gap narrower than the grid's mesh speaks for itself
    # no more than the light's error allows: a stain in a shallow place stays
    found = np.clip(off, -2 * lost, 2 * lost) * np.square(lost) / np.maximum(np.square(lost) + own, 1e-9)
    return surface.texels.interpolate(surface.faces, found[:, None].astype(np.float32))[:, 0]
