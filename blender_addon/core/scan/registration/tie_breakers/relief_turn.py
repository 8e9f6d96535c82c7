"""Can unevenness too fine to fix a pose show how far a round object is turned? All turns about its axis are tried."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ....arrays import Floats
from ....mesh.similarity import Similarity, angle_between, rotation_from_vector
from ....mesh.triangles import axis_across
from ..evidence import pairs
from ..icp import loose_axis, refine
from ..scans import Scans, lying_on, weighed
from ..surfels import Surfels
from ..verdict import Candidate
from .colour import turned_about

STEP_DEG = 4.0
"""Degrees between two turns that are tried: a third of SAME_DEG."""
SAME_DEG = 12.0
"""Turns nearer to each other than this belong to the same minimum."""
FOLDS = (180.0, 90.0, 270.0, 120.0, 240.0, 60.0, 300.0)
"""Degrees by which regular shapes of two, three, four and six sides may be turned without looking different."""
WEAK = 0.03
"""A turn with less stiffness than this share of the mean is searched all round, since iterations stop early along it."""
FITS_TOO = 0.75
"""Share of the best pose's shared area that a pose upside down must reach to be another way in which it fits."""
OFF_DEG, AGREE_DEG, AGREE_SCALE = 2.0, 0.8, 0.004
"""How far off the halves are started, and how nearly they must agree for the pose to count as right."""


def weak_axis(scans: Scans, pose: Similarity) -> tuple[Floats, Floats] | None:
    """The axis (direction, point) about which the pose is held weakly, and all else firmly; or None."""
    spots, facing = lying_on(scans, pose)
    return loose_axis(spots, facing, firm=WEAK) if len(spots) >= 30 else None


def unevenness(scans: Scans, pose: Similarity, points: int, most: float) -> float:
    """Mean distance of `points` points to the fixed surface in a pose, in its unit, each counted as `most` at the most.

    So both a fine unevenness everywhere and a coarse one in a few spots matter.
    """
    part = scans.moving_part(points)
    index, height, along, agree = pairs(pose.apply(part.points), pose.turn(part.normals), scans.fixed, scans.nearest)
    asked = ~scans.fixed.rim[index]
    near = agree & (along < 2.5 * scans.fixed.spacing)
    far = np.where(near, np.minimum(np.abs(height), most), most)[asked]
    return float(far.mean()) if asked.sum() > 0.2 * len(asked) else float("inf")


def likely_turns(
    scans: Scans, sides: Sequence[Similarity], axis: tuple[Floats, Floats], *, keep: int = 4, points: int = 500
) -> list[Similarity]:
    """The `keep` turns, over all sides, at which the surfaces lie closest on each other, each refined; closest first.

    sides: one pose a side. axis: direction and point in the fixed frame. points: of the moving scan that are compared.
    After them comes the closest one turned on by 2 to 6 parts of a full turn, which a regular shape could be mistaken for.
    """
    turns = np.arange(0.0, 360.0, STEP_DEG)
    most = 4.0 * weighed(scans, sides[0], 0.008 * scans.fixed.size).deviation
    rated = np.array([[unevenness(scans, turned_about(side, *axis, turn), points, most) for turn in turns] for side in sides])
    taken: list[tuple[int, float]] = []
    for place in np.argsort(rated, axis=None):
        side, step = divmod(int(place), len(turns))
        if not np.isfinite(rated[side, step]) or len(taken) == keep:
            break
        if all(side != other or abs((turns[step] - turn + 180.0) % 360.0 - 180.0) > SAME_DEG for other, turn in taken):
            taken.append((side, float(turns[step])))
    found = [_settled(scans, turned_about(sides[side], *axis, turn), 1500, 12) for side, turn in taken]
    return found + [_settled(scans, turned_about(found[0], *axis, fold), 800, 6) for fold in FOLDS if found]


def _settled(scans: Scans, pose: Similarity, points: int, rounds: int) -> Similarity:
    return refine(scans.moving_part(points), scans.fixed, scans.nearest, pose, rounds=rounds, tolerance=1e-5)[0]


def halves(part: Surfels, *, block: float = 0.12) -> tuple[Surfels, Surfels]:
    """Two parts of a scan that share no spot: every other block of space, side `block` of its size."""
    cells = np.floor(part.points / (block * part.size)).astype(np.int64)
    odd = cells.sum(axis=1) % 2 == 1
    return part.part(np.flatnonzero(odd)), part.part(np.flatnonzero(~odd))


def steady(scans: Scans, pose: Similarity, axis: tuple[Floats, Floats]) -> bool:
    """Whether each half of the moving scan, started off to either side, comes back to one and the same turn and scale.

    This distinguishes a real minimum from one made by chance, and from one too broad to give the angle.
    """
    found = []
    for half, off in zip(halves(scans.moving_part(6000)), (OFF_DEG, -OFF_DEG), strict=True):
        if len(half) < 200:
            return False
        found.append(refine(half, scans.fixed, scans.nearest, turned_about(pose, *axis, off), rounds=30, tolerance=1e-6)[0])
    turned = angle_between(found[0].rotation, found[1].rotation)
    return turned < AGREE_DEG and abs(found[0].scale / found[1].scale - 1.0) < AGREE_SCALE


def turned_over(scans: Scans, best: Candidate, axis: tuple[Floats, Floats], tolerance: float) -> list[Candidate]:
    """The best pose upside down on its loose axis, where that fits nearly as well; one or none.

    Turned copies of one side crowd the other side out of the list of candidates, so that is tried separately: turned over
    about the middle of what is seen, of all, and of what it lies on, since a part may be missing on either scan.

    axis: direction and point in the fixed frame. tolerance: distance that noise explains, in the fixed scan's unit.
    """
    direction, through = axis
    across = np.cross(direction, axis_across(direction))
    turn = rotation_from_vector(np.pi * across / np.linalg.norm(across))
    spots = best.pose.apply(scans.seen.points)
    near, _ = scans.nearest(spots[:2000])
    bodies = (spots, best.pose.apply(scans.moving.points), scans.fixed.points[near])
    levels = [0.5 * np.quantile((body - through) @ direction, (0.01, 0.99)).sum() for body in bodies]
    found = []
    for place, level in enumerate(levels):
        if any(abs(level - other) < 0.004 * scans.fixed.size for other in levels[:place]):
            continue  # iterations even that out
        middle = through + level * direction
        start = Similarity(1.0, turn, middle - turn @ middle).after(best.pose)
        pose, _, _ = refine(scans.moving_part(1500), scans.fixed, scans.nearest, start, rounds=15, tolerance=2e-5)
        found.append(Candidate(pose, weighed(scans, pose, tolerance)))
    top = max(found, key=lambda entry: entry.rank)
    return [top] if top.evidence.shared > FITS_TOO * best.evidence.shared else []
