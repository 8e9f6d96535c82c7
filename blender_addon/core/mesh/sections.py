"""Where does a plane cut a surface? Level lines of a value on a triangle mesh, the sharp zone of a lens drawn with them, and
where a part of a surface ends."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from ..arrays import Bools, Floats, Ints
from .topology import rim_edges


def level_lines(vertices: Floats, faces: Ints, values: Floats, level: float) -> Floats:
    """(k, 2, 3) the segments on which a value that is linear over each triangle equals `level`.

    vertices: (n, 3). faces: (m, 3). values: (n,) at the vertices. A value that hits a vertex exactly counts as above, so that
    no segment is doubled or lost.
    """
    above = values >= level
    corner = above[faces]
    cut = faces[corner.any(axis=1) & ~corner.all(axis=1)]
    if not len(cut):
        return np.zeros((0, 2, 3))
    # Turn each triangle so that its first corner is the one alone on its side.
    corner = above[cut]
    alone = np.where(corner.sum(axis=1) == 1, corner.argmax(axis=1), (~corner).argmax(axis=1))
    row = np.arange(len(cut))
    first, second, third = (cut[row, (alone + turn) % 3] for turn in range(3))
    ends = []
    for other in (second, third):
        share = (level - values[first]) / (values[other] - values[first])
        ends.append(vertices[first] + share[:, None] * (vertices[other] - vertices[first]))
    return np.stack(ends, axis=1)


def border_lines(vertices: Floats, faces: Ints, inside: Bools) -> Floats:
    """(k, 2, 3) the edges between the triangles (mask over faces) that are inside and the others, or open space."""
    if not inside.any():
        return np.zeros((0, 2, 3))
    edges, _ = rim_edges(faces[inside], len(vertices))
    return vertices[edges]


def clipped_lines(segments: Floats, direction: Floats, low: float, high: float) -> Floats:
    """(k, 2, 3) the parts of segments (n, 2, 3) whose points' products with `direction` (3,) lie between low and high."""
    if not len(segments):
        return segments
    start, run = segments[:, 0], segments[:, 1] - segments[:, 0]
    at, slope = start @ direction, run @ direction
    safe = np.where(np.abs(slope) < 1e-15, 1e-15, slope)
    first, second = (low - at) / safe, (high - at) / safe
    enter = np.clip(np.minimum(first, second), 0.0, 1.0)
    leave = np.clip(np.maximum(first, second), 0.0, 1.0)
    kept = leave > enter
    return np.stack([start + enter[:, None] * run, start + leave[:, None] * run], axis=1)[kept]


MOST_LINES = 160
"""Lines that a hatching has at most: more would merge into a flat grey."""


def hatching(
    vertices: Floats, faces: Ints, *, axis: Floats, across: Floats, depths: tuple[float, float], spacing: float
) -> Floats:
    """(k, 2, 3) lines on the part of a surface whose depth along `axis` lies between the two `depths`.

    vertices: (n, 3). faces: (m, 3). axis, across: (3,) unit vectors at right angles. spacing: of the lines, in the vertices'
    unit. The lines are cuts by planes along the axis, apart in the direction `across`: seen along the axis they are straight
    and even, from the side they run from near to far.
    """
    near, far = depths
    depth = vertices @ axis
    touched = faces[(depth[faces].max(axis=1) >= near) & (depth[faces].min(axis=1) <= far)]
    if not len(touched):
        return np.zeros((0, 2, 3))
    side = vertices @ across
    used = side[touched]
    step = max(spacing, float(np.ptp(used)) / MOST_LINES)
    levels: Iterable[float] = np.arange(np.ceil(used.min() / step), np.floor(used.max() / step) + 1) * step
    lines = [clipped_lines(level_lines(vertices, touched, side, level), axis, near, far) for level in levels]
    return np.concatenate(lines) if lines else np.zeros((0, 2, 3))
