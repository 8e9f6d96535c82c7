"""How well do two aligned scans match, as a picture? The first grey, the further one ochre in stripes.

Both are tinted with their own colours where they have some. To choose between the poses of a regular stand the further
scan is drawn whole over the first, as it would look.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from .surfels import Surfels

GROUND, FIRST, FURTHER = (0.94, 0.93, 0.91), (0.62, 0.62, 0.62), (0.80, 0.52, 0.18)
"""Display-encoded colours of the ground, of the first scan and of the further one."""
OWN = 0.7
"""Share of a scan's own colours in its tint."""


def overlay(fixed: Surfels, moved: Surfels, *, pixels: int = 360, laid_over: bool = False) -> Floats:
    """(pixels, 2 * pixels, 3) display colours, bottom row first: seen from the front (-Y) and, beside it, from above.

    fixed, moved: in one frame, z up; their colours, where they have some, are display values. Where both coincide the
    colours alternate with every small unevenness; where they differ only one is seen. laid_over: without stripes, the
    further one shown wherever it lies on the first.
    """
    both = np.concatenate([fixed.points, moved.points])
    low, high = both.min(axis=0), both.max(axis=0)
    middle, scale = 0.5 * (low + high), 0.92 * pixels / float((high - low).max())
    views = (np.array([[1, 0, 0], [0, 0, 1], [0, -1, 0]], float), np.array([[1, 0, 0], [0, 1, 0], [0, 0, 1]], float))
    over = 0.015 * scale * float((high - low).max()) if laid_over else 0.0
    return np.concatenate([_view(fixed, moved, (turn, middle, scale), pixels, over) for turn in views], axis=1)


def _view(fixed: Surfels, moved: Surfels, frame: tuple[Floats, Floats, float], pixels: int, over: float) -> Floats:
    turn, middle, scale = frame
    picture = np.tile(np.array(GROUND), (pixels, pixels, 1))
    depth = np.full(pixels * pixels, -np.inf)
    flat = picture.reshape(-1, 3)
    light = np.array([-0.4, 0.5, 0.77])
    for surfels, plain, striped in ((fixed, FIRST, False), (moved, FURTHER, True)):
        colour = _tinted(surfels, plain)
        seen = (surfels.points - middle) @ turn.T * scale + 0.5 * pixels
        facing = surfels.normals @ turn.T
        shade = 0.45 + 0.55 * np.clip(facing @ light, 0.0, 1.0)
        half = max(int(np.ceil(0.6 * surfels.spacing * scale)), 1)
        keep = facing[:, 2] > 0
        if striped and over:
            seen[:, 2] += over
        elif striped:
            keep &= np.floor((seen[:, 0] + seen[:, 1]) / 9.0) % 2 == 0
        for down in range(-half, half + 1):
            for across in range(-half, half + 1):
                column = seen[keep, 0].astype(int) + across
                row = seen[keep, 1].astype(int) + down
                inside = (column >= 0) & (column < pixels) & (row >= 0) & (row < pixels)
                place = (row * pixels + column)[inside]
                near = seen[keep, 2][inside]
                order = np.argsort(near)  # the nearest is written last
                place, near = place[order], near[order]
                tint = (shade[:, None] * colour)[keep][inside][order]
                wins = near > depth[place]
                depth[place[wins]] = near[wins]
                flat[place[wins]] = tint[wins]
    return picture


def _tinted(surfels: Surfels, plain: tuple[float, float, float]) -> Floats:
    """(n, 3) the plain colour, mixed with the scan's own at a common brightness: one may be dusted white, one dark stone."""
    if surfels.colour is None:
        return np.broadcast_to(np.array(plain), (len(surfels), 3))
    own = surfels.colour * (0.55 / max(float(surfels.colour.mean()), 1e-3))
    return np.clip(OWN * own + (1.0 - OWN) * np.array(plain), 0.0, 1.0)
