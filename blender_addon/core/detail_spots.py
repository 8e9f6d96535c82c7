"""Where is a close look worth it, and from where can it be had? Rich places of the subject that a lens can reach."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from .framing import look
from .optics import LARGEST
from .sight import LENS_ROOM_MM
from .subject import Subject
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

    Ranked by the mean richness within half of `reach_mm`; the front counts a little more than the back, and places that face
    down, that the subject itself hides, or that a lens `distance_mm` away could not reach are left out. At least `reach_mm`
    apart; where the subject has not room for that, nearer.
    """
    reach_mm = min(reach_mm, 0.4 * max(subject.height, subject.width))
    candidates = _candidates(subject, reach_mm)
    distance = distance_mm or 2.0 * subject.height + 100.0
    steepest = 55.0 if _flat(subject) else 40.0
    found: list[tuple[Floats, float, float]] = []
    for apart in (reach_mm, 0.6 * reach_mm, 0.35 * reach_mm):
        for spot, normal, _ in candidates:
            if len(found) == count:
                return found
            if any(np.linalg.norm(spot - other[0]) < apart for other in found):
                continue
            level = float(np.hypot(normal[0], normal[1]))
            azimuth = float(np.degrees(np.arctan2(normal[0], -normal[1]))) if level > 0.25 else 22.0
            tilt = float(np.clip(np.degrees(np.arcsin(np.clip(normal[2], -1, 1))), 6.0, steepest))
            if _open_view(subject, spot, look(azimuth, tilt), distance, reach_mm):
                found.append((spot, azimuth, tilt))
    return found


def _flat(subject: Subject) -> bool:
    """Whether it lies rather than stands, so that its upper side is what there is to see."""
    return subject.height < 0.4 * subject.width


def _candidates(subject: Subject, reach: float) -> list[tuple[Floats, Floats, float]]:
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
        ranked.append((on_it.astype(float), normal, score))
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
