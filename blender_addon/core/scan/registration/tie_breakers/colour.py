"""Can colour decide where shape can't? The two scans' colours are compared where the surfaces coincide."""

from __future__ import annotations

from collections.abc import Callable, Sequence

import numpy as np

from ....arrays import Bools, Floats
from ....mesh.similarity import Similarity, rotation_from_vector
from ..evidence import Nearest
from ..surfels import Surfels

LEAST = 0.45
"""Least correlation that counts as the same pattern; chance gives about 0.1 on a hundred spots, 0.3 at the best of many."""
LEAD = 0.2
"""How much lower the correlation of every other pose must be."""


def features(colour: Floats) -> Floats:
    """(n, 3) what a change of light and exposure preserves of a colour: two log chroma ratios, and log luminance at half
    weight."""
    logs = np.log(np.clip(colour, 0.0, None) + 0.02)
    return np.stack([logs[:, 0] - logs[:, 1], logs[:, 2] - logs[:, 1], 0.5 * logs.mean(axis=1)], axis=1)


def likeness(moving: Surfels, fixed: Surfels, nearest: Nearest) -> Callable[[Similarity], float]:
    """Of a pose: correlation (-1 to 1) of the colours of points that lie on each other; 0 when few do or none has colour."""
    if moving.colour is None or fixed.colour is None:
        return lambda pose: 0.0
    seen, there = features(moving.colour), features(fixed.colour)

    def of(pose: Similarity) -> float:
        spots = pose.apply(moving.points)
        index, far = nearest(spots)
        on = np.einsum("ij,ij->i", pose.turn(moving.normals), fixed.normals[index]) > 0.7
        on &= (far < 1.5 * fixed.spacing) & ~fixed.rim[index]
        if on.sum() < 60:
            return 0.0
        both = _levelled(np.concatenate([seen[on], there[index[on]]], axis=1), spots[on])
        first, second = both[:, :3], both[:, 3:]
        size = float(np.sqrt((first**2).sum() * (second**2).sum()))
        return float((first * second).sum()) / size if size > 1e-9 else 0.0

    return of


def _levelled(values: Floats, spots: Floats) -> Floats:
    """The values without their mean and their trend in space, which the room's light makes."""
    away = spots - spots.mean(axis=0)
    ground = np.concatenate([np.ones((len(spots), 1)), away / max(float(np.abs(away).max()), 1e-300)], axis=1)
    normal = np.einsum("ni,nj->ij", ground, ground) + 1e-9 * len(spots) * np.eye(4)  # flat spots leave a direction open
    return values - ground @ np.linalg.solve(normal, np.einsum("ni,nj->ij", ground, values))


def separated(scores: Floats, same: Bools, *, least: float = LEAST, lead: float = LEAD) -> bool:
    """Whether the first of the scores stands out from those of other poses.

    scores: (n,). same: (n,) which are of the same pose as the first. least: what the first must reach at least.
    lead: by how much it must exceed all others.
    """
    others = scores[~same]
    return bool(scores[0] >= least and (not len(others) or scores[0] - others.max() >= lead))


def turned_about(pose: Similarity, axis: Floats, middle: Floats, degrees: float) -> Similarity:
    """The pose turned further by `degrees` about an axis (3,) through the point `middle` (3,) of the fixed scan."""
    turn = rotation_from_vector(np.radians(degrees) * axis)
    return Similarity(1.0, turn, middle - turn @ middle).after(pose)


def best_turn(
    score: Callable[[Similarity], float],
    poses: Sequence[Similarity],
    axis: Floats,
    middle: Floats,
    *,
    least: float = LEAST,
    lead: float = LEAD,
    broad: bool = False,
) -> tuple[Similarity, bool]:
    """The turn about an axis that shape leaves open at which the score is highest, and whether it stands out.

    score: of a pose. poses: one a side (a disc may also lie upside down).
    axis, middle: (3,) direction and point of the axis in the fixed scan's frame. least, lead: as for `separated`.
    broad: the score falls off so slowly that only other peaks are rivals, not the flanks of the highest.

    All angles are tried in steps of 3 degrees, then finer.
    """
    coarse = np.arange(0.0, 360.0, 3.0)
    rated = np.array([[score(turned_about(pose, axis, middle, turn)) for turn in coarse] for pose in poses])
    side, step = divmod(int(np.argmax(rated)), rated.shape[1])
    pose, top = poses[side], float(coarse[step])
    same = np.zeros(rated.shape, bool)
    same[side] = np.abs((coarse - top + 180.0) % 360.0 - 180.0) < 12.0
    if broad:
        smooth = sum(np.roll(rated, shift, axis=1) for shift in range(-2, 3))
        same |= (smooth < np.roll(smooth, 1, axis=1)) | (smooth < np.roll(smooth, -1, axis=1))
    pose, highest = peak_turn(score, turned_about(pose, axis, middle, top), axis, middle)
    return pose, separated(np.r_[highest, rated.ravel()], np.r_[True, same.ravel()], least=least, lead=lead)


def peak_turn(score: Callable[[Similarity], float], pose: Similarity, axis: Floats, middle: Floats) -> tuple[Similarity, float]:
    """The pose turned by up to 5 degrees to where the score is highest, and that score.

    axis, middle: (3,) direction and point of the axis in the fixed scan's frame. Steps of 0.5 degrees, then the top of a
    parabola through nine of them.
    """
    fine = np.arange(-3.0, 3.01, 0.5)
    close = np.array([score(turned_about(pose, axis, middle, turn)) for turn in fine])
    place = int(np.clip(np.argmax(close), 4, len(fine) - 5))
    near = slice(place - 4, place + 5)
    bend, slope, _ = np.polyfit(fine[near] - fine[place], close[near], 2)
    peak = fine[place] + (float(np.clip(-0.5 * slope / bend, -2.0, 2.0)) if bend < 0 else 0.0)
    return turned_about(pose, axis, middle, peak), float(close.max())


def one_a_side(poses: Sequence[Similarity], axis: Floats) -> list[Similarity]:
    """The poses without those that differ from an earlier one only by a turn about the axis."""
    kept: list[Similarity] = []
    for pose in poses:
        if all((pose.rotation.T @ axis) @ (other.rotation.T @ axis) < 0.9 for other in kept):
            kept.append(pose)
    return kept
