"""Which part of a piece is its head? An upper or protruding compact lobe that a narrower neck joins.

The search does not recognise faces. It takes for a head what has the form of one: compact, set off by a neck, high or far out,
not tiny. Where no neck sets one off (an owl, a mounted head) it takes the upper part of what stands, or the foremost of what
stands on four legs, with less confidence. A turned form has no head.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Bools, Floats, Ints
from ...mesh.cut import FILLED
from ...mesh.triangles import TriangleMesh
from ...records import record
from ..subject import Subject
from .lobes import Lobes, Neck, lobes_of, solid_of
from .unshown import inside_turned, turned_axis

LEAST = 0.25
"""Least score of a lobe that is taken for a head. On our labelled scans heads scored 0.3 to 1, paws, tails and rims up to
0.2."""
CLEAR = 0.6
"""Score above which a lobe is almost certainly a head."""
OF_A_LOBE, WITHOUT_NECK = 0.8, 0.7
"""Least confidence in a head with a neck, and the confidence in one without. All our labelled scans came out right, but they
are few."""
COMPACT = 0.4
"""Share of a lobe's volume that its largest inscribed ball fills, from which it counts as compact: an arm 0.1, a head 0.3 to
0.7."""
SMALL = 0.03
"""Share of the whole volume below which a lobe is too small to be surely a head."""
OF_A_PAIR, RISES = 0.3, 0.15
"""Factor on the score of one of two raised hands, and how far the rest must rise above its middle, over the height. Set on an
armadillo."""
OF_A_TAIL, BEHIND, THIN = 0.2, 0.12, 0.3
"""Factor on the score of a raised tail's end; how far behind the middle it lies, over the depth; and how little the largest
ball fills of what it is the end of (a head with its neck and chest: more). Set on a scorpion."""
GROUND = 0.12
"""A head begins above this share of the height; a lobe that reaches lower includes legs."""
UPPER = 0.42
"""Share of the height that is taken for the head where there is no neck: between an owl's and a child's."""
LOWER_COSTS = 0.5
"""Loss of score of such a part per share of the height above it: an owl's eyes are high, a skull's low; set on these two."""
FOREMOST, RAISED = 0.36, 0.45
"""Of an animal on four legs: share of the length that is taken for the head, and share of that end's height above which."""
LONG = 1.35
"""Length over width from which a piece may be an animal on four legs."""
HOLLOW = 0.04
"""Share of the points of a form of revolution that face inwards, from which it is a vessel."""
CUT_OFF = 0.03
"""Least share of the surface of a filled hole that may be a cut neck; it does not face down, as a base would."""


@record
class Head:
    """The head of a subject: which of its points (k,) belong to it, its middle (3,), the radius (mm) of the largest ball in it,
    its direction (2,) from the rest seen from above (length about 1 where it stands far out), the confidence 0 to 1, and
    whether it has a neck."""

    points: Bools
    middle: Floats
    radius: float
    out: Floats
    sure: float
    neck: bool = True


def find_head(mesh: TriangleMesh, subject: Subject, worth: Floats) -> Head | None:
    """The head of a standing closed mesh (mm, z up, front -Y), as a part of its subject's points; None where there is none.

    worth: (k,) the worth of each point in a close look (`crops.worth_of`).
    """
    solid = solid_of(mesh)
    if not solid.inside.any() or _vessel(mesh, subject):
        return None
    lobes = lobes_of(solid)
    best, score = _best_lobe(lobes)
    if best is not None and score >= LEAST:
        return _of_lobe(lobes, best, subject.points, score)
    return _without_neck(mesh, subject, worth)


def _vessel(mesh: TriangleMesh, subject: Subject) -> bool:
    """Whether it is a hollow form of revolution."""
    axis = turned_axis(mesh)
    return axis is not None and float(inside_turned(subject.points, subject.normals, axis).mean()) > HOLLOW


@record
class _Lobe:
    """A lobe with its neck: its score as a head, share of the whole volume, share of it that its largest ball fills, and middle
    (3,)."""

    neck: Neck
    score: float
    share: float
    ball: float
    middle: Floats


def _best_lobe(lobes: Lobes) -> tuple[Neck | None, float]:
    """The lobe that is most like a head, and its score."""
    inside = np.flatnonzero(lobes.solid.inside.ravel())
    places = lobes.solid.places(inside)
    found = _scored(lobes, lobes.basin.ravel()[inside], places)
    tops = np.full(len(lobes.peaks), -np.inf)
    np.maximum.at(tops, lobes.basin.ravel()[inside], places[:, 2])
    low, high = places.min(axis=0), places.max(axis=0)
    best: Neck | None = None
    most = 0.0
    for lobe in found:
        score = lobe.score
        if _is_of_a_pair(lobe, found, float(tops[~lobe.neck.basins].max(initial=-np.inf)), low, high):
            score *= OF_A_PAIR
        if _is_a_tail(lobe, found, low, high):
            score *= OF_A_TAIL
        if score > most:
            best, most = lobe.neck, score
    return best, most


def _is_of_a_pair(lobe: _Lobe, found: list[_Lobe], above: float, low: Floats, high: Floats) -> bool:
    """Whether it is one of two raised hands, wings or claws: as large and as high as another, on the other side, and what is
    between them rises well above both. Two heads rise highest themselves."""
    size = np.maximum(high - low, 1e-9)
    middle = 0.5 * (low + high)
    if above - lobe.middle[2] < RISES * size[2]:
        return False
    own = lobe.middle - middle
    for other in found:
        theirs = other.middle - middle
        alike = max(lobe.share, other.share) < 1.4 * min(lobe.share, other.share) and abs(own[2] - theirs[2]) < 0.1 * size[2]
        apart = float(np.linalg.norm(own[:2] - theirs[:2])) > 0.4 * float(size[:2].max()) and float(own[:2] @ theirs[:2]) < 0
        if alike and apart and not (lobe.neck.basins & other.neck.basins).any():
            return True
    return False


def _is_a_tail(lobe: _Lobe, found: list[_Lobe], low: Floats, high: Floats) -> bool:
    """Whether it is the end of something long and thin that rises behind: seen from the front (-Y), a neck would lie before."""
    behind = float(lobe.middle[1] - 0.5 * (low[1] + high[1])) > BEHIND * float(high[1] - low[1])
    return behind and any(
        (other is lobe or 1.5 * lobe.share < other.share < 0.3)
        and other.ball < THIN
        and other.neck.basins[lobe.neck.basins].all()
        for other in found
    )


def _scored(lobes: Lobes, basin: Ints, places: Floats) -> list[_Lobe]:
    """The lobes that may be heads by their own form. basin: (n,) of each place (n, 3) inside."""
    count = len(lobes.peaks)
    middles = np.stack([np.bincount(basin, places[:, axis], count) for axis in range(3)], axis=1)
    middles = middles / np.maximum(lobes.volume, 1.0)[:, None]
    low, high = places[:, 2].min(), places[:, 2].max()
    lows = np.full(count, np.inf)
    np.minimum.at(lows, basin, places[:, 2])
    total = lobes.volume.sum()
    found = []
    for neck in lobes.necks:
        volume = float(lobes.volume[neck.basins].sum())
        share = volume / total
        if not 0.005 < share < 0.9 or neck.width > 0.95:
            continue
        middle = (middles[neck.basins] * lobes.volume[neck.basins, None]).sum(axis=0) / volume
        away = middle - neck.place
        upward = max(float(away[2]) / max(float(np.linalg.norm(away)), 1e-9), 0.0)
        ball = 4.19 * (float(lobes.radius[neck.basins].max()) / lobes.solid.cell) ** 3 / volume
        score = float(np.sqrt(np.clip((0.95 - neck.width) / 0.35, 0.0, 1.0)))
        score *= 0.1 + float((middle[2] - low) / max(high - low, 1e-9))
        score *= min(ball / COMPACT, 1.0) ** 1.2 * min(share / SMALL, 1.0) * np.sqrt(min(1.0, (1.0 - share) / 0.3))
        score *= 0.6 + 0.4 * upward
        lowest = lows[neck.basins].min()
        score *= 1.0 if lowest - low > GROUND * (high - low) else 0.3
        found.append(_Lobe(neck, float(score), share, ball, middle))
    return found


def _of_lobe(lobes: Lobes, neck: Neck, points: Floats, score: float) -> Head | None:
    """The head that a lobe makes."""
    solid = lobes.solid
    basin = lobes.basin.ravel()[solid.number(points)]
    mine = (basin >= 0) & neck.basins[basin]
    if mine.sum() < 20:
        return None
    peak = int(np.argmax(np.where(neck.basins, lobes.radius, -1.0)))
    rest = lobes.peaks[~neck.basins]
    weight = lobes.volume[~neck.basins]
    middle = points[mine].mean(axis=0)
    out = middle[:2] - (rest[:, :2] * weight[:, None]).sum(axis=0) / max(float(weight.sum()), 1e-9)
    out = out / max(float(np.ptp(points[:, 2])), 1e-9)
    sure = OF_A_LOBE + 0.15 * float(np.clip((score - LEAST) / (CLEAR - LEAST), 0.0, 1.0))
    return Head(mine, lobes.peaks[peak], float(lobes.radius[peak]), out, sure)


def _without_neck(mesh: TriangleMesh, subject: Subject, worth: Floats) -> Head | None:
    """The whole piece if it is a head cut off at the neck; else the upper front part of a long piece, or the upper part of an
    upright one that has most to show."""
    points = subject.points
    low, high = points.min(axis=0), points.max(axis=0)
    size = high - low
    middle = points[:, :2].mean(axis=0)
    values, vectors = np.linalg.eigh(np.cov((points[:, :2] - middle).T))
    out = np.zeros(2)
    cut = _cut_off(mesh)
    if cut is not None:
        mine = (points - points.mean(axis=0)) @ cut < 0.55 * float(((points - points.mean(axis=0)) @ cut).max())
        out = -cut[:2]  # a head looks away from its cut
    elif np.sqrt(values[1] / max(values[0], 1e-12)) > LONG:
        mine, out = _foremost(points, worth, (points[:, :2] - middle) @ vectors[:, 1], vectors[:, 1])
    elif size[2] > 0.7 * float(size[:2].max()):
        mine = _upper(subject, worth, (points[:, 2] - low[2]) / max(float(size[2]), 1e-9))
    else:
        return None
    if mine.sum() < 20:
        return None
    return Head(
        mine, points[mine].mean(axis=0), 0.35 * float(np.ptp(points[mine], axis=0).min()), out, WITHOUT_NECK, neck=False
    )


def _cut_off(mesh: TriangleMesh) -> Floats | None:
    """The direction (3,) that a large filled hole faces if no piece could stand on it, else None."""
    filled = mesh.face_marks.get(FILLED)
    if filled is None or not filled.any():
        return None
    corners = np.asarray(mesh.vertices, float)[mesh.faces]
    cross = np.cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    total = cross[filled].sum(axis=0)
    size = float(np.linalg.norm(total))
    if size < CUT_OFF * float(np.linalg.norm(cross, axis=1).sum()):
        return None
    way = total / size
    return way if way[2] > -0.8 else None


def _foremost(points: Floats, worth: Floats, along: Floats, axis: Floats) -> tuple[Bools, Floats]:
    """The upper part of the end of a long piece that is higher, richer and nearer to the front; and its direction (2,)."""
    length = float(np.ptp(along))
    low, height = float(points[:, 2].min()), max(float(np.ptp(points[:, 2])), 1e-9)
    usual = max(float(np.mean(worth)), 1e-9)

    def value(sign: float) -> float:
        end = sign * along > float((sign * along).max()) - FOREMOST * length
        raised = float(np.percentile(points[end, 2], 98) - low) / height
        return raised + 0.5 * float(worth[end].mean()) / usual - 0.6 * sign * float(axis[1])

    sign = max((1.0, -1.0), key=value)
    end = sign * along > float((sign * along).max()) - FOREMOST * length
    top = float(np.percentile(points[end, 2], 99.5))
    return end & (points[:, 2] > low + RAISED * (top - low)), sign * axis


def _upper(subject: Subject, worth: Floats, share: Floats) -> Bools:
    """The part of an upright piece, `UPPER` of its height, that shows most from the front; higher parts are preferred.

    What no close look should show counts nothing here, and not against its part: eye sockets are deep, and lie in a face.
    """
    seen, worth = subject.normals[:, 1] < -0.2, np.maximum(worth, 0.0)

    def value(top: float) -> float:
        part = seen & (share > top - UPPER) & (share <= top)
        return float(worth[part].mean()) * (1.0 - LOWER_COSTS * (1.0 - top)) if part.sum() > 20 else -1.0

    top = max((1.0, 0.9, 0.8, 0.7, 0.6), key=value)
    return (share > top - UPPER) & (share <= top)
