"""Where is a close look worth it, and from where can it be had? Rich places of the subject that a lens can reach."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .framing import look, project
from .optics import LARGEST
from .sight import LENS_ROOM_MM
from .subject import Subject, thinned
from .visible import visible

Floats = NDArray[np.floating]


def detail_magnification(subject: Subject, frame_mm: tuple[float, float]) -> float:
    """So that the frame's short side shows nearly half of the piece: 0.4 to 0.8, more only for pieces too small for that."""
    size = max(subject.height, 0.5 * subject.width)
    wanted = min(frame_mm) / (0.45 * size)
    return float(np.clip(wanted, 0.4, max(0.8, min(min(frame_mm) / (0.75 * size), LARGEST))))


def detail_spots(
    subject: Subject, count: int, *, reach_mm: float, distance_mm: float | None = None
) -> list[tuple[Floats, float, float]]:
    """Up to `count` places worth a close look: the spot (3,) and azimuth and tilt (deg) to see it.

    The richest places by the mean richness within half of `reach_mm` are looked at as pictures (`_picture`) and ranked by that;
    the front counts a little more than the back, and places that face down, that the subject itself hides, or that a lens
    `distance_mm` away could not reach are left out. At least `reach_mm` apart; where the subject has not room for that, nearer.
    """
    half = reach_mm / 1.2
    reach_mm = min(reach_mm, 0.4 * max(subject.height, subject.width))
    distance = distance_mm or 2.0 * subject.height + 100.0
    steepest = 55.0 if _flat(subject) else 40.0
    ranked, seen = [], np.zeros((0, 3))
    for spot, normal, score, front in _candidates(subject, reach_mm):
        level = float(np.hypot(normal[0], normal[1]))
        azimuth = float(np.degrees(np.arctan2(normal[0], -normal[1]))) if level > 0.25 else 22.0
        tilt = float(np.clip(np.degrees(np.arcsin(np.clip(normal[2], -1, 1))), 6.0, steepest))
        if len(seen) < LOOKED_AT and (np.linalg.norm(seen - spot, axis=1) > 0.3 * reach_mm).all():
            score = front * _picture(subject, spot, look(azimuth, tilt), distance, half)
            seen = np.vstack([seen, spot])
        else:
            score *= 1e-6  # behind all that were looked at, in the order of their richness
        ranked.append((spot, azimuth, tilt, score))
    ranked.sort(key=lambda entry: -entry[3])
    found: list[tuple[Floats, float, float]] = []
    for apart in (reach_mm, 0.6 * reach_mm, 0.35 * reach_mm):
        for spot, azimuth, tilt, _ in ranked:
            if len(found) == count:
                return found
            if any(np.linalg.norm(spot - other[0]) < apart for other in found):
                continue
            if _open_view(subject, spot, look(azimuth, tilt), distance, reach_mm):
                found.append((spot, azimuth, tilt))
    return found


LOOKED_AT = 40
"""How many of the richest places, none close to another, are looked at as pictures."""
KEY = 62.0, 36.0
"""Where a photographer's key light usually stands, as the built-in set-ups have it: degrees to the camera's left and up."""
UNLIT = 0.3
"""What a part in shadow counts for, against one in the light."""


def _picture(subject: Subject, spot: Floats, rotation: Floats, distance: float, half: float) -> float:
    """How much a close look at a spot shows: mean richness over the frame of what is seen, near the focus and in the light.

    half: half of the frame's height at the spot, mm; it is half as wide again. Where the frame shows no subject it counts 0.
    """
    few = thinned(len(subject.points), 6000)
    points, normals, richness = subject.points[few], subject.normals[few], subject.richness[few]
    position = spot + rotation[:, 2] * distance
    slopes, depth = project(points, position, rotation)
    place = slopes * distance / half
    framed = (np.abs(place[:, 0]) < 1.5) & (np.abs(place[:, 1]) < 1.0) & (depth > 0)
    framed &= visible(points, normals, position=position, rotation=rotation, cells=32)
    if not framed.any():
        return 0.0
    worth = richness * np.exp(-(((depth - distance) / (0.35 * half)) ** 2))
    worth *= np.where(_lit(points, normals, rotation, spot, distance), 1.0, UNLIT)
    cell = ((place[framed, 1] + 1.0) * 4.0).astype(int) * 12 + ((place[framed, 0] + 1.5) * 4.0).astype(int)
    members = np.bincount(cell, minlength=96)
    return float((np.bincount(cell, worth[framed], 96) / np.maximum(members, 1)).mean())


def _lit(points: Floats, normals: Floats, rotation: Floats, spot: Floats, distance: float) -> NDArray[np.bool_]:
    """(n,) which points (n, 3) a key light reaches that stands as `KEY` says for a camera of that rotation."""
    camera = np.degrees(np.arctan2(rotation[0, 2], -rotation[1, 2]))
    lamp = look(camera - KEY[0], KEY[1])
    return visible(points, normals, position=spot + lamp[:, 2] * 4.0 * distance, rotation=lamp, cells=32, facing=0.15)


def _flat(subject: Subject) -> bool:
    """Whether it lies rather than stands, so that its upper side is what there is to see."""
    return subject.height < 0.4 * subject.width


def _candidates(subject: Subject, reach: float) -> list[tuple[Floats, Floats, float, float]]:
    """Places (3,) with their mean normal, score and what their place on the subject counts for, the best first."""
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
        front = 0.75 - 0.25 * normal[1]
        if subject.upright:  # a figure's head and hands tell more than its feet
            front *= 0.7 + 0.6 * (subject.points[place, 2] - subject.points[:, 2].min()) / subject.height
        spot = subject.points[near].mean(axis=0)
        on_it = subject.points[near][np.linalg.norm(subject.points[near] - spot, axis=1).argmin()]
        score = float(subject.richness[near].mean()) * front * length
        ranked.append((on_it.astype(float), normal, score, front))
    return sorted(ranked, key=lambda entry: -entry[2])


def _open_view(subject: Subject, spot: Floats, rotation: Floats, distance: float, reach: float) -> bool:
    """Whether most of what lies round the spot is seen from there, and nothing stands in the lens's way."""
    position = spot + rotation[:, 2] * distance
    away = np.linalg.norm(subject.points - position, axis=1)
    if away.min() < min(LENS_ROOM_MM, 0.5 * distance):
        return False
    near = np.linalg.norm(subject.points - spot, axis=1) < 0.35 * reach
    near &= subject.normals @ rotation[:, 2] > 0.2
    seen = visible(subject.points, subject.normals, position=position, rotation=rotation, cells=60, facing=0.0)
    return bool(near.any()) and float(seen[near].mean()) > 0.35
