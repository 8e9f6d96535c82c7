"""How much light is missed in hollows? A scan fills them a little, so that they look more open than they are.

Light that is missed there makes what is left look like a darker paint, and of a hue that fits: deep in a hollow most light has
bounced off the piece itself. Hue then tells nothing. What does is how even the paint is at large where the piece lies open: one
that is not darker here and brighter there has no reason to be so in its hollows.
"""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from .surface import Surface

Floats = NDArray[Any]
Ints = NDArray[Any]

SHUT = 0.05  # openness below which a place counts as no deeper
OPEN = 0.1  # log of the shading in a hollow or of fine relief below which a place counts as open
DOUBT = 0.2
"""Of the log of openness is missed, standard deviation: what the fitted light is off by in the narrow gaps of the bench's sharp
tooling; in broad hollows it is off by less."""
LARGE_MM = 4.0  # mesh of the grid on which paint is looked at at large
MOST_NODES = 64  # a side: a large piece is looked at on a coarser grid


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
    depth, taps = depth_of(openness), _taps(surface.vertices, surface.vertex_normal)
    size = 1 + max(int(node.max()) for node, _ in taps)
    total, share = (sum(np.bincount(node, part * one, size) for node, part in taps) for one in (means[:, 0] * count, count))
    level = total / np.maximum(share, 1e-9)
    large = sum(level[node] * part for node, part in taps)
    weights = count * openly(depth)
    off = large - np.average(large, weights=weights)
    lost = DOUBT * np.maximum(-depth - OPEN, 0)
    own = np.average(np.square(off), weights=weights)
    # no more than may have been missed: a stain in a shallow place stays
    found = np.clip(off, -2 * lost, 2 * lost) * np.square(lost) / np.maximum(np.square(lost) + own, 1e-9)
    return surface.texels.interpolate(surface.faces, found[:, None].astype(np.float32))[:, 0]


def _taps(vertices: Floats, normals: Floats) -> list[tuple[Ints, Floats]]:
    """Nodes of a grid round each vertex and their shares, which make 1: trilinear by place, squares of the normal by side."""
    low, high = vertices.min(axis=0), vertices.max(axis=0)
    place = (vertices - low) / max(LARGE_MM, float((high - low).max()) / MOST_NODES)
    cell = np.floor(place).astype(np.int64)
    part, size = place - cell, cell.max(axis=0) + 2
    taps = []
    for corner in np.ndindex(2, 2, 2):
        at = cell + corner
        node = (at[:, 0] * size[1] + at[:, 1]) * size[2] + at[:, 2]
        near = np.prod(np.where(corner, part, 1 - part), axis=1)
        for axis in range(3):
            side = 2 * axis + (normals[:, axis] > 0)
            taps.append((6 * node + side, near * np.square(normals[:, axis])))
    return taps
