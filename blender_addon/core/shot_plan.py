"""Where does the photographer stand, what is in focus, at which f-number? Shots solved from the subject alone."""

from __future__ import annotations

from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from . import optics
from .formats import circle_of_confusion, frame_used
from .framing import Placement, Stand, frame_points, look, stand_at, swept
from .subject import Subject
from .visible import visible

Floats = NDArray[np.floating]

KINDS = ("hero", "left", "right", "back", "top", "detail", "turntable")


@dataclass(frozen=True)
class ShotAsk:
    """What is wanted of a shot; None is left to the solver. Lengths mm, angles degrees, azimuth 0 in front (-Y), 90 at +X."""

    name: str
    kind: str = "hero"
    azimuth_deg: float = 0.0
    tilt_deg: float = 12.0
    format_mm: tuple[float, float] = (36.0, 24.0)
    resolution: tuple[int, int] = (960, 640)
    focal_mm: float | None = None
    fnumber: float | None = None
    pupil_ratio: float = 1.0
    coc_mm: float | None = None
    placement: Placement = field(default_factory=Placement)
    magnification: float | None = None
    focus: tuple[float, ...] | None = None
    hold: tuple[tuple[float, ...], tuple[float, ...]] | None = None

    @property
    def frame_mm(self) -> tuple[float, float]:
        return frame_used(*self.format_mm, self.resolution)

    @property
    def coc(self) -> float:
        return self.coc_mm or circle_of_confusion(*self.format_mm)

    @property
    def focal(self) -> float:
        """As asked, else the macro lens of the format: 90 mm at full frame, scaled by the diagonal."""
        if self.focal_mm:
            return self.focal_mm
        return 90.0 * float(np.hypot(*self.format_mm)) / float(np.hypot(36.0, 24.0))


@dataclass(frozen=True)
class Shot:
    """A solved shot: where the camera stands, the optics, the point in focus (3,) mm, and words about what could not be had."""

    ask: ShotAsk
    stand: Stand
    optics: optics.Optics
    focus: Floats
    words: tuple[str, ...] = ()


WIDEST, WHOLE, NARROWEST = 5.6, 11.0, 16.0
"""Marked f-numbers between which the solver chooses; past `WHOLE` the background is worth more than the whole piece sharp."""

FACE = (0.66, 0.93)
"""Where a standing figure's face is looked for, as shares of its height."""


def solve(ask: ShotAsk, subject: Subject, *, spot: Floats | None = None) -> Shot:
    """The camera of a shot. `spot` (3,) is the place a detail shows.

    Raises ValueError when the subject has no extent.
    """
    if ask.kind == "detail":
        return _solve_detail(ask, subject, spot)
    if ask.kind == "turntable":
        return _solve_turntable(ask, subject)
    rotation = look(ask.azimuth_deg, ask.tilt_deg)
    focus = np.asarray(ask.focus, float) if ask.focus else None
    stand = _framed(ask, subject.outline, rotation, subject.middle if focus is None else focus)
    seen = _seen(subject, stand)
    if focus is None:
        focus = focus_spot(subject, seen, stand)
        stand = _framed(ask, subject.outline, rotation, focus)
    depths = _depths(subject.points[seen], stand)
    face = subject.band(0.6, 1.0)[seen] if subject.upright else np.ones(int(seen.sum()), bool)
    return _with_fnumber(ask, stand, focus, whole=depths, part=depths[face] if face.any() else depths)


def focus_spot(subject: Subject, seen: NDArray[np.bool_], stand: Stand) -> Floats:
    """The point (3,) to focus on: of the face where there is one, else of all that is seen, the nearest rich relief."""
    chosen = seen
    if subject.upright and (seen & subject.band(*FACE)).sum() >= 8:
        chosen = seen & subject.band(*FACE)
    points, richness = subject.points[chosen], subject.richness[chosen]
    if not len(points):
        return subject.middle
    side = (points - stand.position) @ stand.rotation[:, 0]
    central = np.abs(side - np.median(side)) <= 0.6 * np.percentile(np.abs(side - np.median(side)), 95) + 1e-9
    points, richness = points[central], richness[central]
    depth = _depths(points, stand)
    near = depth <= np.percentile(depth, 35)
    points, richness = points[near], richness[near]
    rich = richness >= np.percentile(richness, 60)
    goal = np.median(points[rich], axis=0)
    return points[rich][np.linalg.norm(points[rich] - goal, axis=1).argmin()].astype(float)


def detail_spots(subject: Subject, count: int, *, reach_mm: float) -> list[tuple[Floats, float, float]]:
    """Up to `count` places worth a close look, at least `reach_mm` apart: the spot (3,) and azimuth and tilt (deg) to see it.

    Ranked by the mean richness within half of `reach_mm`; the front counts a little more than the back, and places that face
    down or that the subject itself hides are left out.
    """
    candidates = _candidates(subject, reach_mm)
    found: list[tuple[Floats, float, float]] = []
    for spot, normal, _ in candidates:
        if len(found) == count:
            break
        if any(np.linalg.norm(spot - other[0]) < reach_mm for other in found):
            continue
        azimuth = float(np.degrees(np.arctan2(normal[0], -normal[1])))
        tilt = float(np.clip(np.degrees(np.arcsin(np.clip(normal[2], -1, 1))), 6.0, 40.0))
        if _open_view(subject, spot, look(azimuth, tilt), 2.0 * subject.height + 100.0, reach_mm):
            found.append((spot, azimuth, tilt))
    return found


def _candidates(subject: Subject, reach: float) -> list[tuple[Floats, Floats, float]]:
    rng = np.random.default_rng(7)
    fair = subject.band(0.12, 0.97) & (subject.normals[:, 2] > -0.35) & (subject.normals[:, 2] < 0.8)
    if not fair.any():
        fair = np.ones(len(subject.points), bool)
    index = rng.permutation(np.flatnonzero(fair))[:160]
    ranked = []
    for place in index:
        near = np.linalg.norm(subject.points - subject.points[place], axis=1) < 0.5 * reach
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
    """Whether most of what lies round the spot is seen from that side."""
    position = spot + rotation[:, 2] * distance
    near = np.linalg.norm(subject.points - spot, axis=1) < 0.35 * reach
    seen = visible(subject.points, subject.normals, position=position, rotation=rotation, cells=60, facing=0.0)
    return bool(near.any()) and float(seen[near].mean()) > 0.35


LOWEST_MM = 5.0
"""A camera stands at least this high above the table."""


def _solve_detail(ask: ShotAsk, subject: Subject, spot: Floats | None) -> Shot:
    m = ask.magnification or detail_magnification(subject, ask.frame_mm)
    if spot is None:
        spot = np.asarray(ask.focus, float) if ask.focus else subject.points[int(subject.richness.argmax())].astype(float)
    stand = stand_at(spot, rotation=look(ask.azimuth_deg, ask.tilt_deg), focal_mm=ask.focal, m=m, pupil_ratio=ask.pupil_ratio)
    if stand.position[2] < LOWEST_MM:
        steeper = np.degrees(np.arcsin(np.clip((LOWEST_MM - spot[2]) / stand.focus_mm, -1.0, 1.0)))
        rotation = look(ask.azimuth_deg, max(ask.tilt_deg, float(steeper)))
        stand = stand_at(spot, rotation=rotation, focal_mm=ask.focal, m=m, pupil_ratio=ask.pupil_ratio)
    seen = _seen(subject, stand)
    near = seen & (np.linalg.norm(subject.points - spot, axis=1) < 0.3 * ask.frame_mm[1] / m)
    depths = _depths(subject.points[near], stand) if near.any() else np.array([stand.focus_mm])
    return _with_fnumber(ask, stand, spot, whole=depths, part=depths)


def detail_magnification(subject: Subject, frame_mm: tuple[float, float]) -> float:
    """So that the frame's short side shows nearly half of the piece: 0.4 to 0.8, more only for pieces too small for that."""
    size = max(subject.height, 0.5 * subject.width)
    wanted = min(frame_mm) / (0.45 * size)
    return float(np.clip(wanted, 0.4, max(0.8, min(frame_mm) / (0.75 * size))))


def _solve_turntable(ask: ShotAsk, subject: Subject) -> Shot:
    solid = swept(subject.outline)
    rotation = look(ask.azimuth_deg, ask.tilt_deg)
    radius = float(np.percentile(np.hypot(subject.points[:, 0], subject.points[:, 1]), 80))
    toward = np.array([rotation[0, 2], rotation[1, 2], 0.0])
    toward /= max(float(np.linalg.norm(toward)), 1e-9)
    height = subject.middle[2] + (0.2 * subject.height if subject.upright else 0.0)
    focus = np.asarray(ask.focus, float) if ask.focus else 0.6 * radius * toward + np.array([0.0, 0.0, height])
    stand = _framed(ask, solid, rotation, focus)
    depths = np.array([stand.focus_mm - 0.4 * radius, stand.focus_mm + 0.6 * radius])
    return _with_fnumber(ask, stand, focus, whole=depths, part=depths)


def _framed(ask: ShotAsk, outline: Floats, rotation: Floats, focus: Floats) -> Stand:
    return frame_points(
        outline, rotation=rotation, focus=focus, focal_mm=ask.focal, frame_mm=ask.frame_mm, placement=ask.placement,
        pupil_ratio=ask.pupil_ratio,
    )  # fmt: skip


def _with_fnumber(ask: ShotAsk, stand: Stand, focus: Floats, *, whole: Floats, part: Floats) -> Shot:
    """The f-number that holds the whole when a good lens can, else the part that matters, else the best it can with words."""
    base = optics.Optics(ask.focal, ask.fnumber or 8.0, stand.focus_mm, ask.pupil_ratio)
    if ask.fnumber:
        return Shot(ask, stand, base, focus)
    if ask.hold:
        return _holding(ask, stand, base, focus)
    for depths, low, high, most in ((whole, 2.0, 98.0, WHOLE), (part, 8.0, 80.0, NARROWEST)):
        near, far = np.percentile(depths, [low, high])
        exact = optics.fnumber_reaching(base, float(near), float(far), ask.coc)
        if exact <= most:
            return Shot(ask, stand, replace(base, fnumber=optics.marked(max(exact, WIDEST))), focus)
    return Shot(ask, stand, replace(base, fnumber=NARROWEST), focus)


def _holding(ask: ShotAsk, stand: Stand, base: optics.Optics, focus: Floats) -> Shot:
    ends = _depths(np.asarray(ask.hold, float), stand)
    exact = optics.fnumber_reaching(base, float(ends.min()), float(ends.max()), ask.coc)
    best = optics.marked(exact)
    if exact <= optics.THIRD_STOPS[-1]:
        return Shot(ask, stand, replace(base, fnumber=best), focus)
    words = (
        f"{ask.name}: no f-number holds {np.ptp(ends):.1f} mm of depth at magnification {base.magnification:.2f} "
        f"(f/{exact:.0f} would be needed); f/{best:g} is set, use a focus bracket for the rest"
    )
    return Shot(ask, stand, replace(base, fnumber=best), focus, (words,))


def _seen(subject: Subject, stand: Stand) -> NDArray[np.bool_]:
    return visible(subject.points, subject.normals, position=stand.position, rotation=stand.rotation)


def _depths(points: Floats, stand: Stand) -> Floats:
    return -(np.asarray(points, float) - stand.position) @ stand.rotation[:, 2]
