"""What is the evidence for a pose? What matches, what contradicts it, and where one of the scans saw nothing."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from ...arrays import Bools, Floats, Ints
from ...mesh.similarity import Similarity
from ...records import record
from ...statistics import robust_deviation
from .surfels import Surfels

Nearest = Callable[[Floats], tuple[Ints, Floats]]
"""Query points (n, 3) -> (n,) number of the nearest target point, (n,) distance."""

WRONG = 1.5
"""Loss of a point in space that the other scan saw to be empty; a point at the tolerance has a loss of 1."""

SIDEWAYS = 0.5
"""A normal with a smaller vertical component faces sideways."""
LOOKS_AWAY = -0.5
"""Cosine between two normals below which they face opposite sides."""
BESIDE = 5.0
"""A point facing the same way, off by up to this many tolerances, runs beside the surface: a slightly different object."""


@record
class Evidence:
    """What two scans show about a pose; shares are 0 to 1, lengths in the fixed scan's unit.

    matched: share of the moving scan that lies on the fixed one, of what has a seen surface as its nearest (or of a fifth of
        all).
    beside: share, of what lies on it or beside it, that runs parallel but off by more than noise.
    buried: share, of what lies on it or inside it, that lies inside and faces sideways, as a stand's sides can't under a piece.
    against: share, of all that can be judged, where one scan shows free space and the other its surface.
    rms, deviation: root mean square and robust standard deviation of the matched distances to the surface.
    covered: share of the fixed scan that the moving one lies on.
    shared: area of overlap over the sum of both areas.
    judged: number of points that could be judged.
    loss: (k,) of each compared point, 0 to WRONG; nan where it can't be judged.
    """

    matched: float
    beside: float
    buried: float
    against: float
    rms: float
    deviation: float
    covered: float
    shared: float
    judged: int
    loss: Floats


def pairs(points: Floats, normals: Floats, to: Surfels, nearest: Nearest) -> tuple[Ints, Floats, Floats, Ints]:
    """For each point: nearest surfel, signed height over its plane, distance along it, and whether they face the same way.

    points, normals: (n, 3), posed. to: the surfels of the other scan. nearest: the query onto them. All results are (n,).
    """
    index, _ = nearest(points)
    offset = points - to.points[index]
    direction = to.normals[index]
    height = np.einsum("ij,ij->i", offset, direction)
    along = np.sqrt(np.maximum(np.einsum("ij,ij->i", offset, offset) - height**2, 0.0))
    return index, height, along, np.einsum("ij,ij->i", normals, direction) > 0.4


@record
class Inside:
    """What is known of the inside of two scans.

    partial: the moving scan lacks a part that the fixed one shows (a stand without its piece); what is missing on it, and what
        lies hidden inside the fixed one, is then no evidence either way.
    depth, depth_back: (n,) depth to which the object is certainly solid under each surfel of the fixed and of the moving scan,
        in their units.
    blind: (n,) fixed surfels behind which no far side was seen.
    """

    partial: bool
    depth: Floats
    depth_back: Floats
    blind: Bools


def weigh(
    moving: Surfels,
    fixed: Surfels,
    nearest: tuple[Nearest, Nearest],
    pose: Similarity,
    inside: Inside,
    *,
    tolerance: float,
    points: int = 1500,
) -> Evidence:
    """The evidence for a pose.

    nearest: the queries onto the fixed scan and back onto the moving one.
    tolerance: distance that noise explains, in the fixed scan's unit.
    points: how many points of each scan are compared, of those that were truly seen.

    A point more than the tolerance above the other scan's surface lies in space that the other saw free, which contradicts the
    pose; not where the nearest place of the other scan is its rim or was filled, since nothing was seen there. A point under
    the surface is hidden: it contradicts only when the other scan should show it, and no deeper than is certainly solid. What
    looks the other way deep behind a surface whose far side nobody saw, as a stand's underside does, could not be seen by the
    first scan and does not count at all; its sides do, since those would have been seen.
    """
    partial, depth, depth_back, blind = inside.partial, inside.depth, inside.depth_back, inside.blind
    asked, asked_back = _seen(moving, points), _seen(fixed, points)
    spots, facing = pose.apply(asked.points), pose.turn(asked.normals)
    index, height, along, agree = pairs(spots, facing, fixed, nearest[0])
    known = ~fixed.rim[index]
    away = np.einsum("ij,ij->i", facing, fixed.normals[index])
    known &= ~(blind[index] & (height < -tolerance) & (away < LOOKS_AWAY))
    on = agree & (np.abs(height) < tolerance) & (along < 2.5 * fixed.spacing) & known
    limit = np.where(agree, tolerance, max(tolerance, 1.2 * fixed.spacing))  # round a sharp edge the nearest may face elsewhere
    hidden = (height < -limit) & (height > -depth[index])
    wrong = ~on & known & ((height > limit) if partial else (height > limit) | hidden)
    back = pose.inverse()
    reach = tolerance / pose.scale
    places, looking = back.apply(asked_back.points), back.turn(asked_back.normals)
    index_back, height_back, along_back, agree_back = pairs(places, looking, moving, nearest[1])
    known_back = ~moving.rim[index_back]
    on_back = agree_back & (np.abs(height_back) < reach) & (along_back < 2.5 * moving.spacing) & known_back
    limit_back = np.where(agree_back, reach, max(reach, 1.2 * moving.spacing))
    inside_back = (height_back < -limit_back) & (height_back > -depth_back[index_back])
    wrong_back = ~on_back & known_back & (inside_back if partial else (height_back > limit_back) | inside_back)
    moving_area, fixed_area = asked.area * pose.scale**2, asked_back.area
    wrong_area = wrong.mean() * moving_area + wrong_back.mean() * fixed_area
    right_area = on.mean() * moving_area + on_back.mean() * fixed_area
    beside = agree & known & ~on & (np.abs(height) < BESIDE * tolerance) & (along < 2.5 * fixed.spacing)
    within = known & ~on & hidden
    behind = known & ~on & agree & blind[index] & (height < -limit)  # it runs along a seen side, but deep under it
    buried = (within | behind) & (np.abs(facing[:, 2]) < SIDEWAYS)
    residual = height[on]
    loss = np.concatenate([_loss(height, on, wrong, tolerance), _loss(height_back, on_back, wrong_back, reach)])
    return Evidence(
        float(on.sum() / max(known.sum(), 0.2 * len(known))),
        float(beside.sum() / max(on.sum() + beside.sum(), 1)),
        float(buried.sum() / max(on.sum() + (within | behind).sum(), 1)),
        float(wrong_area / max(wrong_area + right_area, 1e-30)),
        float(np.sqrt(np.mean(residual**2))) if len(residual) else float("inf"),
        robust_deviation(residual, 0.0) if len(residual) else float("inf"),
        float(on_back.mean()),
        float(right_area / max(moving_area + fixed_area, 1e-30)),
        int(on.sum() + wrong.sum() + on_back.sum() + wrong_back.sum()),
        loss,
    )


def _loss(height: Floats, on: Ints, wrong: Ints, tolerance: float) -> Floats:
    return np.where(on, (height / tolerance) ** 2, np.where(wrong, WRONG, np.nan)).astype(np.float32)


def asked_points(moving: Surfels, fixed: Surfels, *, points: int = 1500) -> Floats:
    """(k, 3) where the points that `weigh` asks lie on their own scans, each scan scaled to size 1 and the two kept apart."""
    first, second = _seen(moving, points), _seen(fixed, points)
    return np.concatenate([first.points / moving.size, second.points / fixed.size + 100.0])


def lead(better: Evidence, worse: Evidence, places: Floats, *, block: float = 0.12) -> tuple[float, float]:
    """How clearly one pose is better than another: mean difference of loss, and that over what chance would give.

    better, worse: the evidence of both. places: as `asked_points` gives them. block: side of a block over a scan's size.

    Only points that can be judged in both poses are compared, so that what is missing counts for neither. Neighbouring points
    err together: sums over blocks are taken as the independent samples, and their deviation is the robust one, so that a chip
    in one corner counts in full.
    """
    gain = worse.loss - better.loss
    both = np.isfinite(gain)
    if both.sum() < 30:
        return 0.0, 0.0
    cells = np.floor(places[both] / block).astype(np.int64)
    _, number = np.unique(cells @ np.array([1, 4001, 4001 * 4001]), return_inverse=True)
    sums = np.bincount(number.ravel(), gain[both])
    deviation = robust_deviation(np.asarray(sums, float)) + 0.25
    return float(gain[both].mean()), float(sums.sum() / (deviation * np.sqrt(len(sums))))


def _seen(surfels: Surfels, points: int) -> Surfels:
    """The first `points` of what was truly seen (the share of area that they stand for is kept)."""
    seen = np.flatnonzero(~surfels.rim)
    if len(seen) < 50:
        seen = np.arange(len(surfels))
    part = surfels.part(seen[:points])
    return Surfels(
        part.points, part.normals, part.rim, part.colour, surfels.spacing * float(np.sqrt(len(seen) / len(part))), part.noise
    )
