"""On what does the thing stand? Every facet of its convex hull is a way to lie; the likeliest is found and refined.

A resting pose is a plane with the whole thing on one side and its centre of mass over the contact (Goldberg et al., *Part pose
statistics*, IEEE Trans. Robotics 15, 1999). Of all poses the one is taken that adds up the most of: how far it is from
tipping over, how much of the support's outline really is a flat face, whether that face was open and filled by us (a scan's
unseen underside), how low the mass lies, and, weakly, whether the file's own axes agree.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from ..mesh.holes import Rim, basis, rims
from ..mesh.planar import convex_outline, depth_inside, outline_area, robust_plane, weighted_median
from ..mesh.preview import strewn
from ..mesh.spikes import steady_vertices
from ..mesh.triangles import Floats, Ints, TriangleMesh, face_crosses, signed_volume, unit
from .resting_pose import settled
from .symmetry import upright_likeness
from .upright import rotation_between

Hull = Callable[[Floats], Ints]
"""Points (n, 3) to the triangles (m, 3) of their convex hull, looking outwards."""

MOST_CORRECTION_DEG = 4.0
"""How far the fit to the surface may turn a hull facet's direction; more means that it found another face."""
MIRROR = 1.2
"""What a perfect mirror image left and right counts among the terms of the score."""
HOLLOW = 0.8
"""What standing over a hollow as deep as the thing is high takes away from the score."""
CONTACT = 0.012
"""How far from the support a face may lie and still count as contact, over the diagonal."""


@dataclass(frozen=True)
class Support:
    """A way to stand: `up` (3,) unit, `point` (3,) on the plane, and what speaks for it.

    kind: 'flat' (a face of its own) or 'resting' (a few points). flat: share of the support's outline that is flat contact.
    filled: share of that contact that was open and filled. tip_deg: how far it can be tilted before it falls. score: higher
    is likelier.
    """

    up: Floats
    point: Floats
    kind: str
    flat: float
    filled: float
    tip_deg: float
    score: float


@dataclass(frozen=True)
class Sampled:
    """A mesh prepared for support searching.

    Of the faces without a spike: centres (m, 3), areas (m,), unit normals (m, 3), filled (m,), corners (m, 3) as rows of
    `vertices` (n, 3). `steady` (k, 3): the vertices that are no spikes. mass (3,): the centre of mass.
    openings: large rims still open.
    """

    centres: Floats
    areas: Floats
    normals: Floats
    filled: Ints
    corners: Ints
    vertices: Floats
    steady: Floats
    mass: Floats
    diagonal: float
    openings: tuple[Rim, ...] = ()


def sampled(mesh: TriangleMesh, good: Ints | None = None, *, most: int = 120_000) -> Sampled:
    """Prepare a mesh; spikes count neither as contact nor as extent. Of more than `most` faces as many are drawn."""
    vertices = mesh.vertices.astype(float)
    if good is None:
        good = steady_vertices(mesh)
    crosses = face_crosses(vertices, mesh.faces)
    areas = 0.5 * np.linalg.norm(crosses, axis=1)
    sound = good[mesh.faces].all(axis=1)
    centres = vertices[mesh.faces].mean(axis=1)
    filled = mesh.face_marks.get("filled", np.zeros(len(mesh.faces), bool))
    used = np.zeros(len(vertices), bool)
    used[mesh.faces[sound] if sound.any() else mesh.faces] = True  # what touches spikes alone may be one
    steady = vertices[good & used]
    diagonal = float(np.linalg.norm(np.ptp(steady, axis=0)))
    surface = areas[sound].mean() * len(areas) if sound.any() else areas.sum()  # spikes would swell it
    openings = tuple(rim for rim in rims(mesh) if rim.area > 0.02 * surface and rim.flatness < 0.02)
    chosen = np.flatnonzero(sound)
    share = max(len(chosen) / most, 1.0)
    if share > 1.0:
        chosen = np.sort(np.random.default_rng(1).choice(chosen, most, replace=False))
    return Sampled(
        centres[chosen], areas[chosen] * share, unit(crosses[chosen]), filled[chosen], mesh.faces[chosen], vertices, steady,
        centre_of_mass(vertices, mesh.faces), diagonal, openings,
    )  # fmt: skip


def centre_of_mass(vertices: Floats, faces: Ints) -> Floats:
    """Centre (3,) of the enclosed volume (Mirtich, *Fast and accurate computation of polyhedral mass properties*, J. Graphics
    Tools 1, 1996); of the surface where the mesh encloses next to nothing."""
    origin = vertices.mean(axis=0)
    a, b, c = (vertices[faces[:, corner]] - origin for corner in range(3))
    volumes = np.einsum("ij,ij->i", a, np.cross(b, c)) / 6.0
    total = volumes.sum()
    box = float(np.prod(np.maximum(np.ptp(vertices, axis=0), 1e-30)))
    if abs(total) > 0.01 * box and signed_volume(vertices, faces) != 0.0:
        return origin + (volumes[:, None] * (a + b + c) / 4.0).sum(axis=0) / total
    areas = 0.5 * np.linalg.norm(np.cross(b - a, c - a), axis=1)
    return origin + (areas[:, None] * (a + b + c) / 3.0).sum(axis=0) / areas.sum()


def supports(
    mesh: TriangleMesh, hull: Hull, *, axes: Sequence[tuple[Floats, float]] = (), good: Ints | None = None
) -> list[Support]:
    """All ways to stand, the likeliest first.

    axes: directions (3,) that may be up by the file's own axes, and how much that says. `hull` gives
    the triangles of a convex hull. good: (n,) which vertices are no spikes, where that is known.
    """
    sample = sampled(mesh, good)
    extremes = _extreme_points(sample.steady)
    triangles = hull(extremes)
    found = []
    for down, area, at in [*_facet_directions(extremes, triangles, sample.diagonal), *_open_undersides(sample)]:
        judged = _judged(sample, extremes, down, area, at, axes)
        if judged.kind == "resting":
            rest, point = settled(extremes, triangles, sample.mass, -judged.up)
            judged = replace(judged, up=-rest, point=point)
        found.append(judged)
    found = _seen_standing(mesh, found)
    best: list[Support] = []
    for support in found:  # neighbouring facets of one noisy base refine to the same plane
        if all(support.up @ other.up < np.cos(np.radians(2.0)) for other in best):
            best.append(support)
    return best


def _seen_standing(mesh: TriangleMesh, found: list[Support], *, look: int = 16) -> list[Support]:
    """The likeliest ways to stand, likeliest first, after a look at how the whole thing would stand.

    For it speaks that left mirrors right: up lies in the mirror plane of animals, people and most things that are made to be
    looked at. Against it, that it stands on a rim over a deep hollow: what is hollow opens upwards.
    """
    faces, weights = strewn(mesh, 20_000)
    points = np.einsum("nk,nkd->nd", weights, mesh.vertices[mesh.faces[faces]].astype(float))
    judged = []
    for support in sorted(found, key=lambda support: -support.score)[:look]:
        standing = (points - support.point) @ rotation_between(support.up, np.array([0.0, 0.0, 1.0])).T
        gained = MIRROR * upright_likeness(standing) - HOLLOW * _hollow_below(standing)
        judged.append(replace(support, score=support.score + gained))
    return sorted(judged, key=lambda support: -support.score)


def _hollow_below(standing: Floats, cells: int = 20) -> float:
    """0 for a base or for feet, near 1 for a cup upside down: how deep the hollow over the ground is (mean clearance inside
    the outline of the contact, over the height) times how much of the way round the outline touches the ground.

    standing: points (n, 3) strewn on the surface, the ground at z = 0.
    """
    tall = float(standing[:, 2].max())
    if not tall > 0:
        return 0.0
    outline = convex_outline(standing[standing[:, 2] < 0.02 * tall][:, :2])
    if len(outline) < 3:
        return 0.0
    low, size = outline.min(axis=0), np.maximum(np.ptp(outline, axis=0), 1e-30)
    place = np.floor((standing[:, :2] - low) / size * cells).astype(int)
    within = ((place >= 0) & (place < cells)).all(axis=1)
    lowest = np.full(cells * cells, tall)
    np.minimum.at(lowest, place[within, 0] * cells + place[within, 1], standing[within, 2])
    rows, columns = np.divmod(np.arange(cells * cells), cells)
    middles = low + (np.stack([rows, columns], axis=1) + 0.5) / cells * size
    inside = np.array([depth_inside(outline, middle) > 0 for middle in middles])
    if not inside.any():
        return 0.0
    depth = float(np.maximum(lowest[inside], 0.0).mean() / tall)
    away = standing[standing[:, 2] < 0.04 * tall][:, :2] - outline.mean(axis=0)
    touched = np.unique((np.arctan2(away[:, 1], away[:, 0]) / (2.0 * np.pi) % 1.0 * 36.0).astype(int))
    return float(np.clip((depth - 0.15) / 0.5, 0.0, 1.0)) * len(touched) / 36.0


def fibonacci_directions(count: int) -> Floats:
    """(count, 3) unit vectors spread evenly over the sphere (Swinbank and Purser, QJRMS 132, 2006)."""
    step = np.arange(count) + 0.5
    z = 1.0 - 2.0 * step / count
    angle = np.pi * (1.0 + np.sqrt(5.0)) * step
    ring = np.sqrt(1.0 - z**2)
    return np.stack([ring * np.cos(angle), ring * np.sin(angle), z], axis=1)


def _extreme_points(points: Floats, count: int = 1500) -> Floats:
    """The points that are furthest in one of `count` directions: few, and with the hull of all but a hair."""
    directions = fibonacci_directions(count).astype(np.float32)
    small = np.ascontiguousarray((points - points.mean(axis=0)).T, np.float32)
    best = np.full(count, -np.inf, np.float32)
    place = np.zeros(count, np.int64)
    for start in range(0, small.shape[1], 8192):
        reach = directions @ small[:, start : start + 8192]
        row = reach.argmax(axis=1)
        value = reach[np.arange(count), row]
        better = value > best
        best[better], place[better] = value[better], row[better] + start
    return points[np.unique(place)]


def _open_undersides(sample: Sampled) -> list[tuple[Floats, float, Floats]]:
    """Of each opening that all lies over: downward direction, area, and a point on it. One spike left bends the hull there."""
    reach, whole = CONTACT * sample.diagonal, sample.areas.sum()
    beyond = [sample.areas[(sample.centres - rim.centre) @ rim.normal > reach].sum() for rim in sample.openings]
    return [
        (rim.normal, rim.area, rim.centre) for rim, below in zip(sample.openings, beyond, strict=True) if below < 0.01 * whole
    ]


def _facet_directions(points: Floats, triangles: Ints, diagonal: float) -> list[tuple[Floats, float, Floats]]:
    """Of the hull's facets, near-coplanar ones together, the largest 40: downward direction, area, lowest point."""
    crosses = face_crosses(points, triangles)
    areas = 0.5 * np.linalg.norm(crosses, axis=1)
    normals = unit(crosses)
    left = areas > 1e-9 * diagonal**2
    found: list[tuple[Floats, float, Floats]] = []
    while left.any() and len(found) < 60:
        seed = int(np.argmax(np.where(left, areas, -1.0)))
        offset = np.abs((points[triangles].mean(axis=1) - points[triangles[seed, 0]]) @ normals[seed])
        group = left & (normals @ normals[seed] > np.cos(np.radians(6.0))) & (offset < CONTACT * diagonal)
        direction = unit((normals[group] * areas[group, None]).sum(axis=0))
        found.append((direction, float(areas[group].sum()), points[int(np.argmax(points @ direction))]))
        left &= ~group
    return sorted(found, key=lambda lead: -lead[1])[:40]


def _judged(
    sample: Sampled, extremes: Floats, down: Floats, facet_area: float, point: Floats, axes: Sequence[tuple[Floats, float]]
) -> Support:
    """Refine the plane through a point on the surface itself and weigh what speaks for standing on it."""
    reach, lowest = CONTACT * sample.diagonal, point
    heights = (point - sample.centres) @ down
    contact = (heights < 1.5 * reach) & (sample.normals @ down > 0.8)
    kind, normal = "resting", down
    if contact.sum() >= 12 and sample.areas[contact].sum() > 0.05 * facet_area:
        normal, centre, scale = _refined(sample, contact, down, point, 1.5 * reach)
        beyond = float(sample.areas[(sample.centres - centre) @ normal > max(4.0 * scale, reach)].sum())
        if normal @ down > np.cos(np.radians(MOST_CORRECTION_DEG)) and beyond < 0.01 * sample.areas.sum():
            point = centre
        else:
            normal = down
    above = (point - sample.centres) @ normal
    contact = (np.abs(above) < reach) & (sample.normals @ normal > 0.8)
    first, second = basis(normal)
    touching = extremes[(point - extremes) @ normal < reach]
    if contact.any():
        touching = np.concatenate([touching, sample.centres[contact]])
    outline = convex_outline(np.stack([touching @ first, touching @ second], axis=1))
    area = outline_area(outline)
    contact_area = float(sample.areas[contact].sum())
    flat = min(contact_area / area, 1.0) if area > 0 else 0.0
    even = _evenness(sample, contact, above, reach)
    filled = float(sample.areas[contact & sample.filled].sum()) / contact_area if contact_area > 0 else 0.0
    opening = _opening_below(sample, -normal, point, area, reach)
    if opening is not None:
        flat = even = filled = 1.0
        contact_area = opening.area
        normal, point, _ = robust_plane(
            sample.vertices[opening.vertices], np.ones(len(opening.vertices)), normal, opening.centre, 1.5 * reach
        )
    if flat * even > 0.2:
        kind = "flat"
    else:
        normal, point = down, lowest
    height = float((point - sample.mass) @ normal)
    inside = depth_inside(outline, np.array([sample.mass @ first, sample.mass @ second]))
    tip = float(np.degrees(np.arctan2(inside, max(height, 1e-9))))
    tall = float(((point - sample.steady) @ normal).max())
    share = contact_area / float(sample.areas.sum())
    score = _score(tip, flat, even, filled, share, height / max(tall, 1e-12), -normal, axes)
    return Support(-normal, point, kind, flat * even, filled, tip, score)


def _opening_below(sample: Sampled, up: Floats, point: Floats, area: float, reach: float) -> Rim | None:
    """The open rim that lies on a support: an underside that no camera saw, the strongest sign of what is down."""
    for rim in sample.openings:
        near = np.abs((sample.vertices[rim.vertices] - point) @ up) < 2.0 * reach
        if rim.normal @ up < -0.96 and rim.area > 0.3 * area and near.mean() > 0.8:
            return rim
    return None


def _evenness(sample: Sampled, contact: Ints, above: Floats, reach: float) -> float:
    """1 for a flat contact, 0 for the belly of something round: how much of the contact lies within a third of the reach.

    Of a sphere's cap a third does (Archimedes: a zone's area goes with its height), of a flat face all.
    """
    whole = float(sample.areas[contact].sum())
    if not whole > 0:
        return 0.0
    middle = weighted_median(above[contact], sample.areas[contact])
    near = contact & (np.abs(above - middle) < reach / 3.0)
    return float(np.clip((sample.areas[near].sum() / whole - 0.45) / 0.35, 0.0, 1.0))


def _refined(
    sample: Sampled, contact: NDArray[np.bool_], down: Floats, point: Floats, reach: float
) -> tuple[Floats, Floats, float]:
    """The plane through a contact's vertices, each weighing a third of the level faces round it: walls don't pull.

    The reach shrinks in three turns, so that a belly rising round a foot drops out; it stops where little would be left.
    """
    normal, centre, scale = down, point, reach
    for part in (1.0, 0.4, 0.15):
        near = contact & (np.abs((sample.centres - centre) @ normal) < part * reach) if part < 1.0 else contact
        if near.sum() < 12 or sample.areas[near].sum() < 0.4 * sample.areas[contact].sum():
            break
        weights = np.zeros(len(sample.vertices))
        for corner in range(3):
            weights += np.bincount(sample.corners[near, corner], sample.areas[near], len(weights))
        used = weights > 0
        normal, centre, scale = robust_plane(sample.vertices[used], weights[used], normal, centre, part * reach)
    return normal, centre, scale


STABLE_DEG = 15.0
"""What stands this far from tipping over stands well enough to be shown; more says nothing about what is meant."""


def _score(
    tip: float, flat: float, even: float, filled: float, share: float, mass: float, up: Floats,
    axes: Sequence[tuple[Floats, float]],
) -> float:  # fmt: skip
    """What speaks for a pose; each term is 0 to about 1.

    An even contact is made to be stood on, be it soles far apart; a full one (flat) more so; a filled one was never seen.
    """
    score = min(max(tip, -STABLE_DEG), STABLE_DEG) / STABLE_DEG
    if tip < 0:
        score -= 1.0  # it would fall over
    score += even * (0.7 * min(share / 0.008, 1.0) + 0.7 * flat * min(share / 0.03, 1.0))
    score += 1.5 * filled * flat * even * min(share / 0.02, 1.0)
    score += 0.6 * (0.5 - mass)
    agreement = [weight * _agreement(up, axis) for axis, weight in axes]
    return score + max(agreement, default=0.0)


def _agreement(up: Floats, axis: Floats) -> float:
    degrees = float(np.degrees(np.arccos(np.clip(up @ axis, -1.0, 1.0))))
    return 1.0 if degrees < 3.0 else 0.7 if degrees < 12.0 else 0.2 if degrees < 30.0 else 0.0


FILE_AXES: tuple[tuple[Floats, float], ...] = (
    (np.array([0.0, 0.0, 1.0]), 0.6),
    (np.array([0.0, -1.0, 0.0]), 0.45),
    (np.array([0.0, 1.0, 0.0]), 0.35),
    (np.array([1.0, 0.0, 0.0]), 0.15),
    (np.array([-1.0, 0.0, 0.0]), 0.15),
    (np.array([0.0, 0.0, -1.0]), 0.1),
)
"""How much it says that up is one of the file's axes after import, by axis: files are written y up or z up, and read as if
either were meant, so that up comes out as z, -y or y (common practice); a scan in a chance pose agrees with none."""
