"""Does the stand still show where the piece stood? A mark of its outline shows which way round a regular stand belongs."""

from __future__ import annotations

import numpy as np

from ....arrays import Bools, Floats
from ....mesh.similarity import Similarity
from ..evidence import pairs
from ..scans import Scans
from ..surfels import Surfels
from .colour import features

LEAST, LEAD = 0.6, 0.15
"""Least correlation of the marks with the outline, and how much lower that of every other way must be."""
FEWEST = 40
"""Least number of points under the piece, and beside it, to judge by."""


def footprint(part: Surfels, scans: Scans, pose: Similarity, *, reach: float) -> float:
    """How distinct the area under the first scan's piece is on the other scan: multiple correlation, 0 to 1.

    part: of the moving scan. reach: how far off the surface noise explains. Points that the pose puts inside the fixed thing
    were hidden by the piece. A linear discriminant (Fisher 1936) of their colour and of their height over the face that they
    lie on (a recess, a rim of glue) tells whether they differ from the face round them. 0 where too few are hidden.
    """
    spots, facing = pose.apply(part.points), pose.turn(part.normals)
    index, height, _, _ = pairs(spots, facing, scans.fixed, scans.nearest)
    seen = ~scans.fixed.rim[index]
    hidden = seen & (height < -reach) & (height > -scans.depth[index])
    if hidden.sum() < FEWEST:
        return 0.0
    up = facing[hidden].mean(axis=0)
    length = float(np.linalg.norm(up))
    if length < 0.5:
        return 0.0
    same_face = (facing @ (up / length) > 0.8) & (hidden | (seen & (np.abs(height) < reach)))
    middle = spots[hidden & same_face].mean(axis=0) if (hidden & same_face).any() else spots[hidden].mean(axis=0)
    far = np.linalg.norm(spots - middle, axis=1)
    around = same_face & (far < 2.0 * float(np.quantile(far[hidden], 0.95)))
    if (around & hidden).sum() < FEWEST or (around & ~hidden).sum() < FEWEST:
        return 0.0
    return _agreement(_marks(part, spots, up / length, around), hidden[around])


def _marks(part: Surfels, spots: Floats, up: Floats, around: Bools) -> Floats:
    """(k, 1 or 4) height over the face's plane in spacings, and what of the colour outlives another light."""
    place = spots[around] - spots[around].mean(axis=0)
    level = place @ up
    ground = np.c_[np.ones(len(place)), place - np.outer(level, up)]
    level = level - ground @ np.linalg.lstsq(ground, level, rcond=None)[0]
    marks = np.clip(level, -1.0, 1.0)[:, None]
    return marks if part.colour is None else np.concatenate([marks, features(part.colour[around])], axis=1)


def _agreement(marks: Floats, hidden: Bools) -> float:
    """Multiple correlation of the marks with being hidden, less what as many marks reach by chance (Ezekiel 1930)."""
    wish = hidden - hidden.mean()
    columns = marks - marks.mean(axis=0)
    columns = columns[:, columns.std(axis=0) > 1e-9]
    if not columns.shape[1]:
        return 0.0
    left = wish - columns @ np.linalg.lstsq(columns, wish, rcond=None)[0]
    count, free = len(wish), len(wish) - columns.shape[1] - 1
    agreement = 1.0 - (left @ left) / (wish @ wish) * (count - 1) / max(free, 1)
    return float(np.sqrt(max(agreement, 0.0)))
