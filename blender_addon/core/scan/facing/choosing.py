"""Which direction is the front, and how sure is that? The evidence of all directions combined into chances.

The weights were fitted by multinomial logistic regression over the directions (penalty 0.03 on the squared effect of one
standard deviation of each kind) on forms with a clear front: 13 labelled scans, 15 forms of a public mesh library that were
labelled by eye and count 0.8, and 31 synthetic pieces (TRIED of `truth/pieces/footings.py`) that count 0.3. Of the 28 real
ones, each left out in turn and judged by its shape alone, 89 % were right. All weights are multiplied by 1.5, so that the mean
chance (0.84) equals the share that is right on the 13 scans (0.85; on 13 made-up figures it is 0.75 beside 0.85). The weight of
the fine work was set again, with the others held, when it began to be measured at three scales, and that of the head when its
halves were compared in coarser bins (and the fine work over several grids): the logarithm of the chance given to the true front
is -0.42 in the mean of 13 labelled scans in three turns each (-0.41 before), -0.35 of 48 synthetic pieces (-0.37) and -0.30 of
13 made-up figures that no weight was fitted on (-0.46). With 4 for the fine work all of these would rise further, but smooth
forms, whose roughness is curvature alone, would be turned about against their file. How face-like a patch looks, the toes, a
concave side and detail of the head alone added nothing.
"""

from __future__ import annotations

from pathlib import PurePath

import numpy as np

from ...arrays import Floats
from ...records import record
from ..symmetry import mirror_profile
from .lying import lies_flat, relief_alike
from .profiles import ANGLES, DIRECTIONS, Profiles, Standing, profiles

WEIGHTS = {"mirror": 13.2, "head_mirror": 4.0, "worked": 3.0, "base": 2.6, "ahead": 2.2, "broad": 2.0}
"""Weight of each kind of evidence in a direction's log odds, fitted as the module says; that of the broad side, which counts
only where front and back look the same, is a guess."""
WORDS = {
    "mirror": "left mirrors right from there", "head_mirror": "the head's two halves match from there",
    "worked": "the finer work lies on that side", "base": "a side of the base lies square to it",
    "ahead": "its head stands out there", "broad": "it shows its broad side",
}  # fmt: skip
CHANCE = 0.2
"""Likeness of left and right that says nothing: figures that are posed without any symmetry reach 0.12 to 0.28 in their best
direction. From 0.1 to 0.3 neither the 13 labelled scans nor the 15 forms that were labelled by eye change in what is right
but for one."""
DISTINCT = 0.7
"""What a kind of evidence must count more in a direction than on the average to be named, and as much as the most it counts
anywhere."""
BY_FILE = {".ply": (0.35, 0.1, 0.08), ".stl": (0.35, 0.1, 0.08)}
BY_OTHERS = (0.85, 0.04, 0.03)
"""Chance that a scan that stands by its file's axes faces -Y, +Y, and either side: formats that scanners write as they are, and
others, which most often were set up by hand. Of 13 labelled scans 9 of the 11 others face -Y, none of two PLY does; the shares
are guesses round that."""
AXIS_SPREAD_DEG = 6.0
"""Standard deviation of the angle between the front and the axis that was meant (a guess)."""
SAME_DEG, NEAR_FILE_DEG = 35.0, 10.0
"""Angles within which two fronts are the same, and within which a front is that of the file (-Y)."""
VESSEL, ROUND = 0.65, 0.93
"""Share of the form that does not depend on the direction, from which it is a vessel, whose handle or spout lies in its mirror
plane and which shows its broad side, either of them, since handle left or handle right is a matter of taste; and from which it
is a solid of revolution, which looks the same from everywhere."""
EITHER = "it shows its broad side, as it would from behind"
HALF_TURN_DEG = 5.0
"""How near to half a turn one is by which a piece looks the same from behind."""
SEVERAL = "it looks the same from several sides"
ROUND_WORDS = "it looks much the same from all sides"
NO_FRONT = 0.9
"""Chance given to the file's front of a solid of revolution, for which any front is right."""


@record
class Facing:
    """A direction that may be the front: angle in degrees, counter-clockwise from -Y seen from above, its chance, and the
    evidence for it in words."""

    angle_deg: float
    chance: float
    words: tuple[str, ...]


def facings(thing: Standing, *, file: str | None = None) -> list[Facing]:
    """The directions that may be the front, the likeliest first. file: the name of the file whose axes it stands by, or None
    where it does not stand by them."""
    flat = lies_flat(thing)
    if not thing.piece.any():
        return _of_a_slab(thing)
    found = profiles(thing)
    if found.round_share > ROUND:
        return _of_a_slab(thing) if flat else [Facing(0.0, NO_FRONT, (ROUND_WORDS,))]
    parts = _parts(found)
    total = np.sum(list(parts.values()), axis=0)
    values = np.exp(total - total.max())
    by_file = file is not None
    if file is not None:
        values = values * _by_file(file)
    chances = values / values.sum()
    result: list[Facing] = []
    left = chances.copy()
    while len(result) < 4 and left.max() > 0.01:
        best = int(left.argmax())
        chance = float(left[np.abs(_off(ANGLES, ANGLES[best])) <= SAME_DEG].sum())
        angle = _refined(thing, found, chances, best, by_file)
        words = _reasons(parts, best, by_file and abs(float(_off(ANGLES[best], 0.0))) <= NEAR_FILE_DEG)
        others = sorted({float(turn) for turn in found.alike} | ({180.0} if found.round_share > VESSEL else set()))
        if flat:
            others = [turn for turn in others if relief_alike(thing, turn)]
        for turn in others:
            chance += float(left[np.abs(_off(ANGLES, ANGLES[best] + turn)) <= SAME_DEG].sum())
        if others:
            words = (*words, SEVERAL if len(found.alike) else EITHER)
        result.append(Facing(angle, min(chance, 1.0), words))
        left[np.abs(_off(ANGLES, ANGLES[best])) <= SAME_DEG] = 0.0
    for turn in (90.0, -90.0) if flat else ():  # offered, too: a picture on a medal need not follow its body
        side = float(_off(result[0].angle_deg + turn, 0.0))
        if all(abs(float(_off(facing.angle_deg, side))) > SAME_DEG for facing in result):
            result.append(Facing(side, 0.0, ()))
    return sorted(result, key=lambda facing: -facing.chance)


def _of_a_slab(thing: Standing) -> list[Facing]:
    """The four sides of what lies flat and whose body tells nothing: all the same where its upper side is."""
    turns = [turn for turn in (90.0, 180.0, -90.0) if not relief_alike(thing, turn)]
    if not turns:
        return [Facing(0.0, NO_FRONT, (ROUND_WORDS,))]
    chance = 1.0 / (1 + len(turns))
    return [Facing(turn, chance, ("it lies flat, and its body tells no side",)) for turn in (0.0, *turns)]


def _by_file(file: str) -> Floats:
    """(DIRECTIONS,) the chance of each direction by the file's axes alone."""
    front, back, side = BY_FILE.get(PurePath(file).suffix.lower(), BY_OTHERS)
    chances = np.full(DIRECTIONS, (1.0 - front - back - 2.0 * side) / DIRECTIONS)
    for axis, share in ((0.0, front), (180.0, back), (90.0, side), (-90.0, side)):
        near = np.exp(-0.5 * (_off(ANGLES, axis) / AXIS_SPREAD_DEG) ** 2)
        chances += share * near / near.sum()
    return chances


def _parts(found: Profiles) -> dict[str, Floats]:
    """The weighted evidence of each kind, (DIRECTIONS,)."""
    mirror, head_mirror = found.mirror, found.head_mirror
    if found.round_share > VESSEL:
        mirror, head_mirror = np.roll(mirror, DIRECTIONS // 4), np.roll(head_mirror, DIRECTIONS // 4)
    rows = {
        "mirror": _beyond_chance(mirror), "head_mirror": _beyond_chance(head_mirror), "worked": found.worked,
        "base": found.base, "ahead": found.ahead, "broad": found.broad * _both_ways(found),
    }  # fmt: skip
    return {name: WEIGHTS[name] * row for name, row in rows.items()}


def _both_ways(found: Profiles) -> float:
    """1 where it looks the same from behind: then it shows its broad side."""
    return float((np.abs(found.alike - 180.0) < HALF_TURN_DEG).any())


def _beyond_chance(likeness: Floats) -> Floats:
    return np.maximum(likeness - CHANCE, 0.0) / (1.0 - CHANCE)


def _off(angle: Floats | float, other: Floats | float) -> Floats:
    """Signed difference of angles in degrees, -180 to 180."""
    return (np.asarray(angle) - other + 180.0) % 360.0 - 180.0


def _reasons(parts: dict[str, Floats], place: int, by_file: bool) -> tuple[str, ...]:
    words = [
        WORDS[name] for name, row in parts.items() if row[place] - row.mean() > DISTINCT and row[place] > row.max() - DISTINCT
    ]
    return ("the file faces there", *words) if by_file else tuple(words)


def _refined(thing: Standing, found: Profiles, chances: Floats, place: int, by_file: bool) -> float:
    """The angle between the steps of the profiles: the mirror plane's, the base side's, the file's, or the middle of the
    chance."""
    start = float(ANGLES[place])
    if found.round_share <= VESSEL and found.mirror[place] > 0.5:
        fine = start + np.arange(-12.0, 12.5, 1.0)
        likeness, _ = mirror_profile(thing.points[thing.piece], fine)
        start = float(fine[int(likeness.argmax())])
    elif by_file and abs(float(_off(start, 0.0))) <= NEAR_FILE_DEG:
        start = 0.0
    else:
        near = np.abs(_off(ANGLES, start)) <= 20.0
        start += float((chances[near] * _off(ANGLES[near], start)).sum() / chances[near].sum())
    return float(_off(start, 0.0))
