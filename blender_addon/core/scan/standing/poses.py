"""In which ways could it stand, and what is true of each? Facets of the hull, open undersides; contact, balance, symmetry.

A resting pose is a plane with the whole thing on one side and its centre of mass over the contact (Goldberg et al., *Part pose
statistics*, IEEE Trans. Robotics and Automation 15, 1999).
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...arrays import Bools, Floats, Ints
from ...mesh.holes import Rim, basis
from ...mesh.planar import convex_outline, depth_inside, fit_plane, outline_area
from ...mesh.triangles import face_crosses, unit
from ...records import record
from ..symmetry import best_mirror
from ..upright import rectangle_sides, rotation_between
from .body import Body, flat_outline
from .rising import belly, legs

CONTACT = 0.012
"""How far from the support a face may lie and still count as contact, over the diagonal."""
LOWEST = 0.0005
"""Share of the surface that may lie under the ground: the foot of the thinnest leg is more."""
MOST_FACETS, MOST_GROUPS = 40, 500
"""Facets of the hull that are tried as a base, the largest first, and groups of triangles among which the largest are looked
for, to bound the time: the foot of a jar is cut into many small triangles, the walls beside it into few."""
LEAST_UNDERSIDE = 0.02
"""Least area of an underside of its own over that of the surface."""
LID_DEG, MOST_LIDS = 20.0, 3
"""How far the normals of one filling may lie apart, and how many fillings are looked at."""
TOP, TOP_POINTS = 0.85, 2000
"""Share of the height from which on a thing is its top, and how many of its points are looked at."""
LOOKED_AT = 16
"""Poses that are looked at as a whole (mirror image, hollow), the steadiest and flattest first."""
LOOK_POINTS = 20_000
"""Points of the surface that are looked at, to bound the time."""
DEEP, ALL_ROUND = 0.3, (0.8, 1.0)
"""How deep a hollow is, and how much of the way round it touches the ground, from which its rim counts as a base, as that of
a hollow cast does (guesses)."""
TURNED = (0.5, 0.7)
"""Share of the form that does not depend on the direction, between which a hollow thing is taken for a vessel: cups with a
handle have 0.7 and more, a hollow bust 0.2 to 0.4 (a guess). A base at the other end shows one as well."""
BROAD = (0.7, 0.9)
"""Outline of the rim over that of all, between which a hollow thing is taken for a vessel, which is broadest there: a square
basket has 0.95, a hollow bust on its socle 0.66. Set between these two: a guess."""


@record
class Pose:
    """A way to stand and what is true of it. up, point: (3,) direction and a point of the ground.

    opening: the rim that it stands on is open. share: contact over all surface. even: 1 for a flat contact, 0 for the belly of
    something round. flat: share of the contact's outline that is contact. filled: share of the contact that was filled.
    tip_deg: how far it can be tilted before it falls. spread: the contact's outline over the outline of all, seen from above.
    central: how deep the centre of mass lies inside the contact's outline, over the radius of a disc of its area. regular: how
    near the contact's outline comes to a rectangle or a disc. square: what share of a rectangle it fills. tall: height over
    diagonal. along: how far up is the direction in which the thing is longest. mirror: how well left mirrors right. hollow: how
    deep the hollow is over which a vessel stands. top: the outline of its top over that of all, from above. opposite: how much
    of a base its other end is. slant: how askew the walls over it stand on it (`wall_slant`). belly: how much of what rises
    from the ground faces down, legs: how far it stands on legs (`rising`).
    """

    up: Floats
    point: Floats
    opening: bool
    share: float
    even: float
    flat: float
    filled: float
    tip_deg: float
    central: float
    spread: float
    regular: float
    square: float
    tall: float
    along: float
    mirror: float = 0.0
    plane: float = 0.0
    hollow: float = 0.0
    top: float = 0.0
    opposite: float = 0.0
    slant: float = 0.0
    belly: float = 0.5
    legs: float = 0.0

    @property
    def base(self) -> float:
        """0 to 1: a full and even contact is a base. Beyond 3 % of the surface it is one, however large: a flat crown is larger
        than a foot."""
        return self.flat * self.even * min(self.share / 0.03, 1.0)


@record
class Underside:
    """A large, level underside that no camera saw: its downward normal (3,), a point of it (3,), its area, and whether it is
    open still or was filled."""

    normal: Floats
    centre: Floats
    area: float
    is_open: bool


def leads(body: Body) -> list[tuple[Floats, Underside | None]]:
    """Of each way to stand the downward direction, and the underside where it has one of its own."""
    facets = facet_directions(body.extremes, body.hull, body.diagonal)
    found = [Underside(rim.normal, rim.centre, rim.area, True) for rim in undersides(body)] + lids(body)
    return [(down, None) for down, _, _ in facets] + [(under.normal, under) for under in found]


def lids(body: Body) -> list[Underside]:
    """The large, flat fillings that all lies over. The hull misses one where a single spike is left below it."""
    found: list[Underside] = []
    left = body.filled.copy()
    per_point = body.area / max(len(body.points), 1)
    for _ in range(MOST_LIDS):
        if not left.any() or left.sum() * per_point < LEAST_UNDERSIDE * body.area:
            break
        normal = unit(np.median(body.normals[left], axis=0))
        if not np.linalg.norm(normal) > 0:
            break
        lid = left & (body.normals @ normal > np.cos(np.radians(LID_DEG)))
        left &= ~lid
        if lid.sum() < 30 or lid.sum() * per_point < LEAST_UNDERSIDE * body.area:
            break
        heights = body.points[lid] @ normal
        level = lid.copy()
        level[lid] = np.abs(heights - np.median(heights)) < CONTACT * body.diagonal
        if level.sum() < max(30, 0.5 * lid.sum()):
            continue
        fitted, _ = fit_plane(body.points[level], np.ones(int(level.sum())))
        normal = fitted if fitted @ normal > 0 else -fitted
        centre = np.median(body.points[level], axis=0)
        if _lies_over(body, centre, normal):
            found.append(Underside(normal, centre, float(level.sum()) * per_point, False))
    return found


def _lies_over(body: Body, centre: Floats, normal: Floats) -> bool:
    """Whether all but a hundredth of the surface lies over a plane whose normal (3,) looks down."""
    return bool(((body.points - centre) @ normal > CONTACT * body.diagonal).mean() < 0.01)


def undersides(body: Body) -> list[Rim]:
    """The large, flat, open rims that all lies over. One spike left bends the hull there."""
    found: list[Rim] = []
    for rim in body.rims:
        if rim.area > LEAST_UNDERSIDE * body.area and rim.flatness < 0.02 and _lies_over(body, rim.centre, rim.normal):
            found.append(rim)
    return found


def facet_directions(points: Floats, triangles: Ints, diagonal: float) -> list[tuple[Floats, float, Floats]]:
    """Of the hull's facets, near-coplanar ones together, the largest: downward direction, area, lowest point."""
    crosses = face_crosses(points, triangles)
    areas = 0.5 * np.linalg.norm(crosses, axis=1)
    normals = unit(crosses)
    middles = points[triangles].mean(axis=1)
    left = areas > 1e-9 * diagonal**2
    found: list[tuple[Floats, float, Floats]] = []
    while left.any() and len(found) < MOST_GROUPS:
        seed = int(np.argmax(np.where(left, areas, -1.0)))
        offset = np.abs((middles - points[triangles[seed, 0]]) @ normals[seed])
        group = left & (normals @ normals[seed] > np.cos(np.radians(6.0))) & (offset < CONTACT * diagonal)
        direction = unit((normals[group] * areas[group, None]).sum(axis=0))
        found.append((direction, float(areas[group].sum()), points[int(np.argmax(points @ direction))]))
        left &= ~group
    return sorted(found, key=lambda lead: -lead[1])[:MOST_FACETS]


def measured(body: Body, down: Floats, under: Underside | None = None) -> Pose:
    """What is true of standing with `down` (3,) below, or on an unseen underside; the ground follows the contact by a few
    degrees.

    The ground is where the lowest few points are, so that an outlier that passed for no spike lifts nothing off it.
    """
    reach = CONTACT * body.diagonal
    normal = unit(down) if under is not None else _levelled(body, unit(down), reach)
    up = -normal
    reached, ends = body.points @ up, body.extremes @ up
    tall = float(np.ptp(ends))
    low = (
        float(under.centre @ up)
        if under is not None
        else float(np.quantile(reached, LOWEST))
        if len(reached)
        else float(ends.min())
    )
    first, second = basis(normal)
    facing = body.normals @ normal > 0.8
    contact = facing & (np.abs(reached - low) < reach)
    near = facing & (np.abs(reached - low) < 1.5 * reach)
    touching = body.extremes[ends - low < reach]
    if under is not None:
        touching = body.points[np.abs(reached - low) < reach]
    elif contact.any():
        touching = np.concatenate([touching, body.points[contact]])
    outline = flat_outline(touching, first, second)
    area = outline_area(outline)
    beside = np.array([body.mass @ first, body.mass @ second])
    height = max(float(body.mass @ up) - low, 1e-9 * body.diagonal)
    depth = depth_inside(outline, beside)
    whole = max(outline_area(flat_outline(body.extremes, first, second)), 1e-30)
    contact_area = float(contact.mean()) * body.area
    flat = min(contact_area / area, 1.0) if area > 0 else 0.0
    even = _evenness(reached[near], reach)
    filled = float(body.filled[near].mean()) if near.any() else 0.0
    share = float(near.mean())
    under = under or _opening_below(body, up, low, area, reach)
    if under is not None and under.is_open:
        flat = even = filled = 1.0
        share = under.area / body.area
    ground = body.mass + (low - float(body.mass @ up)) * up
    return Pose(
        up, ground, under is not None and under.is_open, share, even, flat, filled,
        float(np.degrees(np.arctan2(depth, height))), float(depth / max(np.sqrt(area / np.pi), 1e-9 * body.diagonal)),
        min(area / whole, 1.0), *_regularity(outline, area), tall / body.diagonal, _along(body, up),
        belly=belly(body, up, ground),
    )  # fmt: skip


def _along(body: Body, up: Floats) -> float:
    """How far a direction is the one in which the thing is longest, times how much longer than across that is: 0 to 1."""
    middle = body.points - body.points.mean(axis=0)
    spread, axes = np.linalg.eigh(middle.T @ middle)
    if not spread[2] > 0:
        return 0.0
    return float(abs(axes[:, 2] @ up) * (1.0 - np.sqrt(max(spread[1], 0.0) / spread[2])))


def _levelled(body: Body, down: Floats, reach: float) -> Floats:
    """The direction with the plane fitted to what touches, where that turns it by no more than a few degrees."""
    reached = body.points @ down
    heights = float(np.quantile(reached, 1.0 - LOWEST)) - reached if len(reached) else reached
    near = (heights < 1.5 * reach) & (body.normals @ down > 0.8)
    if near.sum() < 30:
        return down
    normal, _ = fit_plane(body.points[near], np.ones(int(near.sum())))
    normal = normal if normal @ down > 0 else -normal
    return normal if normal @ down > np.cos(np.radians(3.0)) else down


def _opening_below(body: Body, up: Floats, low: float, area: float, reach: float) -> Underside | None:
    """The open rim that lies on the ground: an underside that no camera saw."""
    for rim in body.rims:
        if rim.normal @ up < -0.96 and rim.area > 0.3 * area and rim.flatness < 0.02:
            if abs(float(rim.centre @ up) - low) < 2.0 * reach:
                return Underside(rim.normal, rim.centre, rim.area, True)
    return None


def _evenness(heights: Floats, reach: float) -> float:
    """1 for a flat contact, 0 for the belly of something round: how much of the contact lies within a third of the reach.

    Of a sphere's cap a third does (Archimedes: a zone's area goes with its height), of a flat face all.
    """
    if len(heights) < 8:
        return 0.0
    inside = float((np.abs(heights - np.median(heights)) < reach / 3.0).mean())
    return float(np.clip((inside - 0.45) / 0.35, 0.0, 1.0))


def _regularity(outline: Floats, area: float) -> tuple[float, float]:
    """1 where an outline (k, 2) is a rectangle or a disc, 0 where it fills little of either; and its share of a rectangle."""
    if len(outline) < 3 or not area > 0:
        return 0.0, 0.0
    long, short = rectangle_sides(outline)
    around = float(np.linalg.norm(np.roll(outline, -1, axis=0) - outline, axis=1).sum())
    square = area / max(long * short, 1e-30)
    best = max(square, 4.0 * np.pi * area / around**2)
    return float(np.clip((best - 0.75) / 0.12, 0.0, 1.0)), float(square)


def looked_at(body: Body, pose: Pose) -> Pose:
    """The pose with what a look at the whole says: mirror image, hollow and its other end."""
    turn = rotation_between(pose.up, np.array([0.0, 0.0, 1.0]))
    points = body.points[:LOOK_POINTS]
    standing = (points - body.mass) @ turn.T
    standing[:, 2] += float(pose.up @ (body.mass - pose.point))
    likeness, _, round_share = best_mirror(standing)
    mirror = round_share + (1.0 - round_share) * likeness
    whole = outline_area(convex_outline((body.extremes @ turn.T)[:, :2]))
    high = standing[:, 2] > TOP * float(standing[:, 2].max())
    top = outline_area(convex_outline(standing[high, :2][:TOP_POINTS])) / whole if whole > 0 else 0.0
    deep, touched, enclosed = hollow_below(standing)
    opposite = measured(body, pose.up).base
    turned, broad = (float(np.clip((x - a) / (b - a), 0.0, 1.0)) for x, (a, b) in ((round_share, TURNED), (pose.spread, BROAD)))
    vessel = max(turned, broad, min(opposite, 1.0))
    all_round = float(np.clip((touched - ALL_ROUND[0]) / (ALL_ROUND[1] - ALL_ROUND[0]), 0.0, 1.0))
    rim = min(deep / DEEP, 1.0) * all_round * (1.0 - vessel)
    return replace(
        pose, mirror=mirror, plane=likeness, hollow=deep * touched * vessel, top=top, opposite=opposite,
        slant=wall_slant(body, pose), legs=legs(body, pose.up, pose.point), flat=max(pose.flat, rim),
        share=max(pose.share, rim * enclosed / max(body.area, 1e-30)),
    )  # fmt: skip


def hollow_below(standing: Floats, cells: int = 20) -> tuple[float, float, float]:
    """How deep the hollow over the ground is (0 for a base or for feet, near 1 for a cup upside down: from the mean clearance
    inside the outline of the contact, over the height), how much of the way round that outline touches the ground, and its
    area.

    standing: points (n, 3) spread over the surface, the ground at z = 0.
    """
    tall = float(standing[:, 2].max())
    if not tall > 0:
        return 0.0, 0.0, 0.0
    outline = convex_outline(standing[standing[:, 2] < 0.02 * tall][:, :2])
    if len(outline) < 3:
        return 0.0, 0.0, 0.0
    low, size = outline.min(axis=0), np.maximum(np.ptp(outline, axis=0), 1e-30)
    place = np.floor((standing[:, :2] - low) / size * cells).astype(int)
    within = ((place >= 0) & (place < cells)).all(axis=1)
    lowest = np.full(cells * cells, tall)
    np.minimum.at(lowest, place[within, 0] * cells + place[within, 1], standing[within, 2])
    rows, columns = np.divmod(np.arange(cells * cells), cells)
    middles = low + (np.stack([rows, columns], axis=1) + 0.5) / cells * size
    inside = _inside(outline, middles)
    if not inside.any():
        return 0.0, 0.0, 0.0
    depth = float(np.maximum(lowest[inside], 0.0).mean() / tall)
    away = standing[standing[:, 2] < 0.04 * tall][:, :2] - outline.mean(axis=0)
    touched = np.unique((np.arctan2(away[:, 1], away[:, 0]) / (2.0 * np.pi) % 1.0 * 36.0).astype(int))
    return float(np.clip((depth - 0.15) / 0.5, 0.0, 1.0)), len(touched) / 36.0, outline_area(outline)


def _inside(outline: Floats, points: Floats) -> Bools:
    """(n,) which points (n, 2) lie inside a convex counter-clockwise outline (k, 2)."""
    along = np.roll(outline, -1, axis=0) - outline
    away = points[:, None] - outline
    return (along[:, 0] * away[..., 1] - along[:, 1] * away[..., 0] > 0).all(axis=1)


def all_poses(body: Body) -> list[Pose]:
    """Every way to stand, measured but not yet looked at as a whole."""
    return [measured(body, down, under) for down, under in leads(body)]


def wall_slant(body: Body, pose: Pose) -> float:
    """How askew the walls just over the ground stand on it: about the sine of the angle between them and its normal, 0 for a
    plinth, a cone or a bowl, 0.4 for a neck that was cut 25 degrees askew.

    Round a body that was cut straight across, walls lean as much to one side as to the other; round one that was cut askew they
    overhang on one side and lie back on the other: that part of the lean which goes with the direction is measured.
    """
    reach = CONTACT * body.diagonal
    height = (body.points - pose.point) @ pose.up
    lean = body.normals @ pose.up
    band = (height > reach) & (height < 6.0 * reach) & (np.abs(lean) < 0.8)
    if band.sum() < 40:
        return 0.0
    first, second = basis(pose.up)
    outward = unit(np.stack([body.normals[band] @ first, body.normals[band] @ second], axis=1))
    table = np.column_stack([np.ones(len(outward)), outward])
    return float(np.linalg.norm(np.linalg.lstsq(table, lean[band], rcond=None)[0][1:]))
