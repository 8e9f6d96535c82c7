"""Which poses are worth starting from? Those that lay flat faces, boxes or whole bodies on each other."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...mesh.similarity import rotation_from_vector
from .planes import Flat
from .poses import Poses
from .surfels import Surfels


def flat_starts(moving: list[Flat], fixed: list[Flat]) -> Poses | None:
    """Each flat face of the moving scan laid on each of the fixed one, outsides together.

    Turned so that the boxes' edges are parallel (four quarter turns, the scale from either edge, and the box moved into each
    corner, since a side may be missing), and all round in steps of 30 degrees about the middle, scaled by the sizes.
    """
    parts = [part for a in fixed for b in moving for part in (_boxes(b, a), _round(b, a))]
    return Poses.joined(parts) if parts else None


def _laid(b: Flat, a: Flat, angle: Floats) -> Floats:
    """(k, 3, 3) turns that bring b's normal onto a's and b's first axis to `angle` (k,) from a's."""
    cosine, sine = np.cos(angle)[:, None], np.sin(angle)[:, None]
    first = cosine * a.axes[0] + sine * a.axes[1]
    second = cosine * a.axes[1] - sine * a.axes[0]
    to = np.stack([first, second, np.broadcast_to(a.normal, first.shape)], axis=-1)
    return to @ np.stack([b.axes[0], b.axes[1], b.normal])


def _boxes(b: Flat, a: Flat) -> Poses:
    scales, turns, sources, targets = [], [], [], []
    for quarter in range(4):
        turn = _laid(b, a, np.array([quarter * np.pi / 2]))[0]
        edges = b.edges if quarter % 2 == 0 else b.edges[::-1]
        for scale in np.unique(np.round(a.edges / edges, 6)):
            slack = 0.5 * (a.edges - scale * edges)
            slack[np.abs(slack) < 0.02 * a.edges] = 0.0
            for u in (-1, 0, 1):
                for v in (-1, 0, 1):
                    scales.append(scale)
                    turns.append(turn)
                    sources.append(b.centre)
                    targets.append(a.centre + u * slack[0] * a.axes[0] + v * slack[1] * a.axes[1])
    _, once = np.unique(np.round(np.c_[scales, targets, np.reshape(turns, (-1, 9))], 9), axis=0, return_index=True)
    poses = Poses(np.array(scales)[once], np.array(turns)[once], np.zeros((len(once), 3)))
    return poses.anchored(np.array(sources)[once], np.array(targets)[once])


def _round(b: Flat, a: Flat) -> Poses:
    angle = np.radians(np.arange(0.0, 360.0, 30.0))
    scale = np.full(len(angle), a.radius / b.radius)
    return Poses(scale, _laid(b, a, angle), np.zeros((len(angle), 3))).anchored(b.centre, a.centre)


def body_starts(moving: Surfels, fixed: Surfels, turns: Floats) -> Poses:
    """The whole moving scan on the whole fixed one (or a part of it): middle on middle, scale from the spread, many turns."""
    source, target = np.median(moving.points, axis=0), np.median(fixed.points, axis=0)
    source, target = 0.5 * (source + moving.points.mean(axis=0)), 0.5 * (target + fixed.points.mean(axis=0))
    spread = [np.sqrt(np.mean(((s.points - middle) ** 2).sum(axis=1))) for s, middle in ((moving, source), (fixed, target))]
    scale = np.full(len(turns), spread[1] / spread[0])
    return Poses(scale, turns, np.zeros((len(turns), 3))).anchored(source, target)


def even_turns(count: int) -> Floats:
    """(count, 3, 3) rotations spread evenly over all there are (super-Fibonacci spirals, Alexa 2022)."""
    place = np.arange(count) + 0.5
    phi, psi = np.sqrt(2.0), 1.533751168755204288118041
    root, other = np.sqrt(place / count), np.sqrt(1.0 - place / count)
    alpha, beta = 2.0 * np.pi * place / phi, 2.0 * np.pi * place / psi
    x, y, z, w = root * np.sin(alpha), root * np.cos(alpha), other * np.sin(beta), other * np.cos(beta)
    half = np.arccos(np.clip(w, -1.0, 1.0))
    axis = np.stack([x, y, z], axis=1) / np.maximum(np.sin(half), 1e-12)[:, None]
    return rotation_from_vector(2.0 * half[:, None] * axis)


def twin_turns(axes: Floats) -> Floats:
    """(k, 3, 3) the turns under which a box, disc or plinth with these axes (3, 3 rows; the last one upright) may look alike.

    Turns about the upright axis by 15 degrees each, and the same upside down.
    """
    angle = np.radians(np.arange(0.0, 360.0, 15.0))
    about = rotation_from_vector(angle[:, None] * axes[2])
    over = rotation_from_vector(np.pi * axes[0])
    return np.concatenate([about[1:], about @ over])
