"""Which spot is meant by who points near it? What stands out or lies deepest close by, else the place itself."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats

STANDS_OUT = 0.15
"""How far something rises above what lies round it to be meant, as a share of the reach. Worked out on forms: a sharp edge
rises by 0.29, one rounded by half the reach by 0.20, by the whole reach by 0.13; a ball of five times the reach by 0.05."""
INNER = 0.6
"""The spot lies within this share of the reach: further out, what falls away round a corner is further off than the corner."""
AS_FAR = 0.9
"""Of several that rise nearly as far, as along an edge, the nearest is meant."""
FEW = 4
"""Up to so many points within reach the mesh is coarse there, and the nearest of them is meant."""


def snapped(place: Floats, points: Floats, reach: float) -> tuple[Floats, bool]:
    """The spot meant by `place` (3,) on a surface with the vertices `points` (n, 3), and whether it is another than `place`.

    reach: how far off a spot may lie, in the points' unit.
    """
    off = np.linalg.norm(points - place, axis=1)
    close = np.flatnonzero(off <= reach)
    if not len(close):
        return place, False
    near, off = points[close].astype(float), off[close]
    if len(near) <= FEW:
        return near[off.argmin()], True
    from_middle = near - near.mean(axis=0)
    _, _, axes = np.linalg.svd(from_middle, full_matrices=False)
    rise, inner = from_middle @ axes[2], off <= INNER * reach
    if not inner.any():
        return place, False
    rise = rise if rise[inner].max() >= -rise[inner].min() else -rise
    most = rise[inner].max()
    if most < STANDS_OUT * reach:
        return place, False
    far = np.flatnonzero(inner & (rise >= AS_FAR * most))
    return near[far[off[far].argmin()]], True
