"""Which pose is meant, and how sure is that? The evidence of each pose and the file's axes, combined into one chance.

A pose has the chance of its evidence, times how likely its direction is: any direction where the file's axes mean nothing,
close to one of them where they do. A piece without a base to stand on (a head on a mount, a skull, a fragment)
stands as the file's axes say; the poses' own evidence tells how likely that case is.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...arrays import Floats
from ...records import record
from ..symmetry import best_mirror
from ..upright import rotation_between
from . import evidence, file_axes
from .body import Body
from .poses import LOOKED_AT, Pose, all_poses, looked_at

SAME_DEG = 8.0
"""Poses this near to one another count as the same."""
CLEAR, FAINT, MUCH_LESS = 0.65, 0.45, 0.1
"""Likeness of left and right that shows a mirror plane clearly or faintly, and how much less than the best is no longer it.
By chance it reaches about 0.3 on lopsided pieces."""
MOUNT_ROUGH, CLEARLY_ROUGH = 0.8, 0.9
"""Weight of a clearly rough side for an axis of the file, and the roughness from which it is reported. Set by how the
roughness varied on the development scans."""
UNSEEN = 3.0
"""How closely what no camera saw looks down, on a thing that needs a mount: the concentration of a von Mises-Fisher
distribution (Mardia and Jupp, *Directional statistics*, 2000). Three cut necks look 24, 42 and 68 degrees from straight down,
whose mean cosine it has; one of them is a made-up head of the bench, which therefore does not count as unseen."""
MUCH_UNSEEN = 0.05
"""Share of the surface from which what no camera saw counts in full (a guess)."""
LEAST_OWN = 0.15
"""Chance of its own, nothing known of the file's axes, under which a pose is held up by the file's axis alone (a guess)."""
ROUGH_WORDS = "its rougher surfaces look down"
GROUND_WORDS = "the file's origin lies on the ground under it"
A_BASE = 0.5
"""How full and regular a base must be so that it is not a neck's cut (a guess)."""
SQUARE_DEG = 4.0
"""How far from a file's axis a mirror plane's normal may be to count as meant; set on the development scans."""
MIRROR_POINTS = 15_000
"""Points of the surface by which symmetry is measured, to bound the time."""


@record
class Way:
    """A way to stand: `up` (3,), its `chance`, the `pose` (None: it needs a mount), `axis`: the file's axis that it agrees with
    or '', what speaks for and against it in words, `held`: what of the chance only the file's axis speaks for, and `cut`: how
    much of an irregular cut it stands on (`evidence.irregular_cut`)."""

    up: Floats
    chance: float
    pose: Pose | None
    axis: str
    words: tuple[str, ...]
    held: float = 0.0
    cut: float = 0.0


def ways_to_stand(body: Body, *, file: str = "", axes: bool = True) -> list[Way]:
    """All ways to stand, the likeliest first; their chances add up to 1 but for what none of them explains.

    file: the file's name, whose ending says how much its axes tell; axes: whether they are to tell anything at all.
    """
    light = evidence.light_of(body)
    poses = _looked_at(body, light)
    ground = file_axes.on_the_ground(body.extremes.min(axis=0), body.extremes.max(axis=0)) if axes else {}
    meant, origin = _meant(file, ground)
    mirrors = _mirrors(body) if axes else {}
    best = max([pose.plane for pose in poses] + [likeness for likeness, _ in mirrors.values()], default=0.0)
    believed = _believed(mirrors, best, origin) if axes else 0.0
    scores = np.array([evidence.score(pose, light) for pose in poses])
    top = max(evidence.NONE, float(scores.max(initial=-np.inf)))
    found = []
    none = float(np.exp(evidence.NONE - top))
    own = np.exp(scores - top) / (np.exp(scores - top).sum() + none)
    for pose, value, alone in zip(poses, scores, own, strict=True):
        near = {axis: file_axes.density(_degrees(pose.up, file_axes.AXES[axis])) for axis in meant}
        prior = 1.0 - believed + believed * sum(meant[axis] * near[axis] for axis in meant)
        axis = max(near, key=lambda name: meant[name] * near[name], default="") if any(near.values()) else ""
        chance = float(np.exp(value - top)) * prior
        held = chance if alone < LEAST_OWN and axis else 0.0
        found.append(Way(pose.up, chance, pose, axis, evidence.reasons(pose, light), held))
    rough = evidence.rough_below(body) if meant else np.zeros(3)
    unseen = _unseen(body)

    def below(up: Floats) -> float:
        """Log of how well a direction explains the rough side and what no camera saw."""
        return MOUNT_ROUGH * float(rough @ up) + _log_concentrated(unseen, up)

    # What a regular base explains as well says nothing for a mount.
    based = [share * evidence.regular(pose) * max(below(pose.up), 0.0) for share, pose in zip(own, poses, strict=True)]
    usual = float(sum(based))
    for axis, chance in meant.items():
        short = max(best - mirrors[axis[-1]][0] - MUCH_LESS, 0.0)
        up = file_axes.AXES[axis]
        lit = evidence.LIGHT * float(light @ up) if light is not None else 0.0
        likely = believed * chance * none * float(np.exp(below(up) - usual + lit - 8.0 * short))
        speaks = ((ROUGH_WORDS, float(rough @ up) > CLEARLY_ROUGH), (GROUND_WORDS, ground[axis] > 1.0))
        words = tuple(said for said, holds in speaks if holds)
        found.append(Way(up, likely, None, axis, words, likely))
    return _gathered(found, (1.0 - believed) * none)


def _unseen(body: Body) -> Floats:
    """(3,) away from where the surface looks that no camera saw and that was filled, its length how much of that there is and
    how far it is one face: 0 to 1."""
    if not body.filled.any():
        return np.zeros(3)
    share = min(float(body.filled.mean()) / MUCH_UNSEEN, 1.0)
    return -share * np.asarray(body.normals[body.filled].mean(axis=0), float)


def _log_concentrated(mean: Floats, direction: Floats) -> float:
    """Log of a von Mises-Fisher density about `mean` (3,), which shrinks with its length, at a unit direction (3,); over that
    of all directions alike."""
    close = UNSEEN * float(np.linalg.norm(mean))
    return UNSEEN * float(mean @ direction) - float(np.log(np.sinh(close) / close)) if close > 1e-6 else 0.0


def _mirrors(body: Body) -> dict[str, tuple[float, float]]:
    """Of the planes that hold one of the file's axes: how well the best one mirrors the thing, and its angle about that
    axis."""
    found = {}
    for axis in "xyz":
        turn = rotation_between(file_axes.AXES[axis], np.array([0.0, 0.0, 1.0]))
        likeness, angle, _ = best_mirror((body.points[:MIRROR_POINTS] - body.mass) @ turn.T)
        found[axis] = likeness, angle
    return found


def _meant(file: str, ground: dict[str, float]) -> tuple[dict[str, float], float]:
    """The chance of each of the file's axes to be up where they mean anything, and how much where its origin lies
    (`file_axes.on_the_ground`) speaks for that; nothing where they are not to tell anything."""
    if not ground:
        return {}, 1.0
    chances = {axis: chance * ground[axis] for axis, chance in file_axes.chances(file).items()}
    origin = sum(chances.values())
    return {axis: chance / origin for axis, chance in chances.items()}, origin


def _believed(mirrors: dict[str, tuple[float, float]], best: float, origin: float) -> float:
    """The chance that the file's axes mean something: a mirror plane square to one of them is hardly chance (the angle alone
    comes out so in one of ten random poses); a clear mirror plane askew to all of them speaks against.

    origin: how much where the file's origin lies speaks for it.
    """
    odds = origin * file_axes.MEANT / (1.0 - file_axes.MEANT)
    square = [
        likeness > max(FAINT, best - MUCH_LESS) and abs((angle + 45.0) % 90.0 - 45.0) <= SQUARE_DEG
        for likeness, angle in mirrors.values()
    ]
    odds *= 8.0 if any(square) else 0.15 if best > CLEAR else 0.8
    return odds / (1.0 + odds)


def _looked_at(body: Body, light: Floats | None) -> list[Pose]:
    """All poses; the likeliest are measured as a whole, the others are given middling values."""
    poses = sorted(all_poses(body), key=lambda pose: -evidence.score(pose, light))
    seen = [looked_at(body, pose) for pose in poses[:LOOKED_AT]]
    if not seen:
        return []
    mirror, top, opposite = np.median([(pose.mirror, pose.top, pose.opposite) for pose in seen], axis=0).tolist()
    return seen + [replace(pose, mirror=mirror, top=top, opposite=opposite) for pose in poses[LOOKED_AT:]]


def _gathered(ways: Sequence[Way], unexplained: float) -> list[Way]:
    """Neighbours merged into the likeliest of them, and the chances scaled to add up to 1 with the unexplained rest.

    A steady flat base keeps its own direction; a pose on a few points gives way to a file's axis near it.
    """
    total = sum(way.chance for way in ways) + unexplained
    left = sorted(ways, key=lambda way: -way.chance)
    found: list[Way] = []
    while left:
        best = left[0]
        near = [way for way in left if _degrees(way.up, best.up) < SAME_DEG]
        chance = sum(way.chance for way in near) / max(total, 1e-300)
        held = sum(way.held for way in near) / max(total, 1e-300)
        words = tuple(dict.fromkeys(word for way in near if way is best or way.pose is None for word in way.words))
        axis = best.axis or next((way.axis for way in near if way.axis), "")
        if axis:
            words = (*words, f"the file's {axis.upper().replace('-', '-')} axis points up")
        cut = _cut([way.pose for way in near if way.pose is not None])
        found.append(replace(best, chance=min(chance, 1.0), axis=axis, words=words, held=min(held, 1.0), cut=cut))
        left = [way for way in left if all(way is not other for other in near)]
    return sorted(found, key=lambda way: -way.chance)


def _cut(poses: Sequence[Pose]) -> float:
    """How much of an irregular cut is seen in poses that are one way to stand; 0 where one of them shows a regular base."""
    if not poses or max(evidence.regular(pose) for pose in poses) > A_BASE:
        return 0.0
    return max(evidence.irregular_cut(pose) for pose in poses)


def _degrees(first: Floats, second: Floats) -> float:
    return float(np.degrees(np.arccos(np.clip(first @ second, -1.0, 1.0))))
