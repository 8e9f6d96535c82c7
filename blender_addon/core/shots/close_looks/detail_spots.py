"""Which places are worth a close look, from where can they be seen, and how are they cropped? As a photographer would choose.

Places that draw the eye are viewed from the direction they face and a little from either side. In each view the frame is moved
and scaled a little until it holds most of interest, sharp and lit, and until no outline is just clipped: a crown, an ear or a
foot lies inside with air round it, or well outside.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Bools, Floats
from ...records import record
from ..framing import look, project
from ..optics import LARGEST
from ..sight import LENS_ROOM_MM
from ..subject import Subject, thinned
from ..visible import visible
from .crops import Crop, View, best_crop, focus_in, worth_of


@record
class CloseLook:
    """A close look: the spot (3,) mm in focus, azimuth and tilt (deg) to see it from, the frame's middle (2,) mm right of and
    above it in the plane of focus, and the factor on the usual magnification."""

    spot: Floats
    azimuth_deg: float
    tilt_deg: float
    shift: tuple[float, float] = (0.0, 0.0)
    grown: float = 1.0

    @property
    def middle(self) -> Floats:
        """(3,) what lies in the middle of the frame, in the plane of focus, mm."""
        return self.spot + look(self.azimuth_deg, self.tilt_deg)[:, :2] @ np.asarray(self.shift)


def detail_magnification(subject: Subject, frame_mm: tuple[float, float]) -> float:
    """The usual magnification: the frame's short side shows nearly half of the piece; 0.4 to 0.8, more only for tiny pieces."""
    size = max(subject.height, 0.5 * subject.width)
    wanted = min(frame_mm) / (0.45 * size)
    return float(np.clip(wanted, 0.4, max(0.8, min(min(frame_mm) / (0.75 * size), LARGEST))))


LOOKED_AT = 32
"""How many of the richest places, none close to another, are tried as pictures."""
WALKED_ROUND, ASIDE = 10, (-28.0, 28.0)
"""How many of the best of them are tried from either side too, and how far from the direction they face, degrees."""
KEY = 62.0, 36.0
"""Where the key light of the built-in set-ups stands: degrees to the camera's left and up."""


def detail_spots(
    subject: Subject,
    count: int,
    *,
    reach_mm: float,
    distance_mm: float | None = None,
    frame: tuple[float, float] | None = None,
    worth: Floats | None = None,
) -> list[CloseLook]:
    """Up to `count` places worth a close look, the best first.

    The richest places by the mean worth within half of `reach_mm` are tried as pictures; the front counts a little more than
    the back, and places that face down, that the subject itself hides, or that a lens `distance_mm` away could not reach are
    left out. `frame`: width and height, mm, of what the usual magnification shows. `worth`: what `worth_of` gives, where it is
    there already. The places are `reach_mm` apart, closer only where the subject is too small for that.
    """
    height = reach_mm / 0.6
    half = 0.5 * np.asarray(frame or (1.5 * height, height), float)
    reach_mm = min(reach_mm, 0.4 * max(subject.height, subject.width))
    distance = distance_mm or 2.0 * subject.height + 100.0
    worth = worth_of(subject) if worth is None else worth
    ranked: list[tuple[float, CloseLook]] = []
    looked: list[tuple[float, Floats, Floats]] = []
    seen = np.zeros((0, 3))

    def look_at(spot: Floats, normal: Floats, aside: float) -> float:
        crop, found = _taken(subject, worth, spot, _view(subject, normal, aside), distance, half)
        score = crop.score * _tells(subject, found.middle, look(found.azimuth_deg, found.tilt_deg)[:, 2])
        ranked.append((score, found))
        return score

    for spot, normal, score in _candidates(subject, worth, reach_mm):
        if len(seen) < LOOKED_AT and (np.linalg.norm(seen - spot, axis=1) > 0.3 * reach_mm).all():
            seen = np.vstack([seen, spot])
            looked.append((look_at(spot, normal, 0.0), spot, normal))
        else:  # after all that were tried, in the order of their richness
            ranked.append((1e-6 * score, CloseLook(spot, *_view(subject, normal, 0.0))))
    for _, spot, normal in sorted(looked, key=lambda entry: -entry[0])[:WALKED_ROUND]:
        for aside in ASIDE:
            look_at(spot, normal, aside)
    ranked.sort(key=lambda entry: -entry[0])
    found: list[CloseLook] = []
    for apart in (reach_mm, 0.6 * reach_mm, 0.35 * reach_mm):
        for _, candidate in ranked:
            if len(found) == count:
                return found
            if any(np.linalg.norm(candidate.middle - other.middle) < apart for other in found):
                continue
            if _open_view(subject, candidate, distance, reach_mm):
                found.append(candidate)
    return found


def _view(subject: Subject, normal: Floats, aside: float) -> tuple[float, float]:
    """Azimuth and tilt (deg) of the view of a place that faces along `normal`, `aside` degrees from that direction."""
    level = float(np.hypot(normal[0], normal[1]))
    azimuth = float(np.degrees(np.arctan2(normal[0], -normal[1]))) if level > 0.25 else 22.0
    tilt = float(np.clip(np.degrees(np.arcsin(np.clip(normal[2], -1, 1))), 6.0, 55.0 if _flat(subject) else 40.0))
    return azimuth + aside, tilt


def _taken(
    subject: Subject, worth: Floats, spot: Floats, view: tuple[float, float], distance: float, half: Floats
) -> tuple[Crop, CloseLook]:
    """The best crop of a view of a spot, and the close look that it makes."""
    rotation = look(*view)
    seen = view_of(subject, worth, spot, rotation, distance)
    crop = best_crop(seen, half)
    place = focus_in(seen, crop, half)
    point = seen.points[place]
    shift = np.asarray(crop.middle) - seen.places[place]
    return crop, CloseLook(point, *view, (float(shift[0]), float(shift[1])), crop.grown)


def view_of(
    subject: Subject, worth: Floats, spot: Floats, rotation: Floats, distance: float, *, others: Subject | None = None
) -> View:
    """What a camera sees of the subject round a spot (3,), `distance` mm away.

    worth: (k,) of the subject's points. rotation: (3, 3) of the camera. others: what may stand before it, as an arm before a
    face.
    """
    few = thinned(len(subject.points), 6000)
    points, normals = subject.points[few].astype(float), subject.normals[few]
    position = spot + rotation[:, 2] * distance
    slopes, depth = project(points, position, rotation)
    near, near_normals = points, normals
    if others is not None:
        across, away = project(others.points, position, rotation)
        before = (
            (away > 0)
            & (away < depth.max())
            & (across > slopes.min(axis=0)).all(axis=1)
            & (across < slopes.max(axis=0)).all(axis=1)
        )
        near, near_normals = np.vstack([points, others.points[before]]), np.vstack([normals, others.normals[before]])
    seen = visible(near, near_normals, position=position, rotation=rotation, cells=32)
    ahead = (depth > 0) & seen[: len(points)]
    lit = _lit(points, normals, rotation, spot, distance)
    outline = subject.outline[thinned(len(subject.outline), 6000)]
    edge, edge_depth = project(outline, position, rotation)
    return View(
        points[ahead], slopes[ahead] * distance, depth[ahead] - distance, worth[few][ahead], lit[ahead],
        edge[edge_depth > 0] * distance,
    )  # fmt: skip


def _lit(points: Floats, normals: Floats, rotation: Floats, spot: Floats, distance: float) -> Bools:
    """(n,) which points (n, 3) a key light reaches that stands as `KEY` says for a camera of that rotation."""
    camera = np.degrees(np.arctan2(rotation[0, 2], -rotation[1, 2]))
    lamp = look(camera - KEY[0], KEY[1])
    return visible(points, normals, position=spot + lamp[:, 2] * 4.0 * distance, rotation=lamp, cells=32, facing=0.15)


def _flat(subject: Subject) -> bool:
    """Whether it lies rather than stands, so that its upper side is what there is to see."""
    return subject.height < 0.4 * subject.width


def _candidates(subject: Subject, worth: Floats, reach: float) -> list[tuple[Floats, Floats, float]]:
    """Places (3,) with their mean normal and score, the best first."""
    rng = np.random.default_rng(7)
    fair = subject.normals[:, 2] > -0.35
    if not _flat(subject):
        fair &= subject.band(0.12, 0.97) & (subject.normals[:, 2] < 0.8)
    if not fair.any():
        fair = np.ones(len(subject.points), bool)
    index = rng.permutation(np.flatnonzero(fair))[:160]
    ranked = []
    for place in index:
        near = np.linalg.norm(subject.points - subject.points[place], axis=1) < 0.5 * reach
        near &= subject.normals @ subject.normals[place] > 0.2  # not the other side of something thin
        near[place] = True  # a rim of something thin may face nowhere, not even its own way
        normal = subject.normals[near].mean(axis=0)
        length = float(np.linalg.norm(normal))
        if length < 0.3:
            continue
        normal = normal / length
        spot = subject.points[near].mean(axis=0)
        on_it = subject.points[near][np.linalg.norm(subject.points[near] - spot, axis=1).argmin()]
        score = float(worth[near].mean()) * length * _tells(subject, on_it, normal)
        ranked.append((on_it.astype(float), normal, score))
    return sorted(ranked, key=lambda entry: -entry[2])


def _tells(subject: Subject, place: Floats, facing: Floats) -> float:
    """Weight of a place (3,) that faces a direction (3,): the front counts more than the back, a figure's head more than its
    feet."""
    front = 0.75 - 0.25 * float(facing[1])
    if not subject.upright:
        return front
    share = np.clip((place[2] - subject.points[:, 2].min()) / max(subject.height, 1e-9), 0.0, 1.0)
    return front * (0.5 + float(share))


def _open_view(subject: Subject, candidate: CloseLook, distance: float, reach: float) -> bool:
    """Whether most of what lies round the spot is seen from there, and nothing stands in the lens's way."""
    rotation = look(candidate.azimuth_deg, candidate.tilt_deg)
    position = candidate.spot + rotation[:, :2] @ np.asarray(candidate.shift) + rotation[:, 2] * distance
    away = np.linalg.norm(subject.points - position, axis=1)
    if away.min() < min(LENS_ROOM_MM, 0.5 * distance):
        return False
    near = np.linalg.norm(subject.points - candidate.spot, axis=1) < 0.35 * reach
    near &= subject.normals @ rotation[:, 2] > 0.2
    seen = visible(subject.points, subject.normals, position=position, rotation=rotation, cells=60, facing=0.0)
    return bool(near.any()) and float(seen[near].mean()) > 0.35
