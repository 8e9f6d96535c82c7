"""Where does the photographer stand, what is in focus, at which f-number? Shots solved from the subject alone."""

from __future__ import annotations

from dataclasses import field, replace

import numpy as np

from ..arrays import Bools, Floats
from ..records import record
from . import optics
from .close_looks.detail_spots import detail_magnification
from .focus_bracket import bracket
from .formats import circle_of_confusion, frame_used
from .framing import CameraPose, Placement, frame_points, look, pose_at, swept
from .subject import Subject, thinned
from .visible import visible

KINDS = ("hero", "left", "right", "back", "top", "detail", "scale", "turntable")


@record
class ShotAsk:
    """What is asked of a shot; the solver chooses what is None. Lengths mm, angles degrees, azimuth 0 in front (-Y), 90 at +X.

    shift: for a detail, how far right of and above the spot in focus the frame's middle lies.
    """

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
    shift: tuple[float, float] = (0.0, 0.0)
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


@record
class Shot:
    """A solved shot: where the camera stands, the optics, the point in focus (3,) mm, and sentences about what was not
    possible."""

    ask: ShotAsk
    pose: CameraPose
    optics: optics.Optics
    focus: Floats
    words: tuple[str, ...] = ()


WIDEST, WHOLE, NARROWEST = 5.6, 11.0, 16.0
"""Marked f-numbers at full frame between which the solver chooses; other formats use those of equal depth. Past `WHOLE` a soft
background is preferred to having the whole piece sharp. Chosen by eye."""

SOFTEST = 32.0
"""The largest effective f-number at full frame: past it the Airy disc is more than half as large again as the circle of
confusion."""


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
    pose = _framed(ask, subject.outline, rotation, subject.middle if focus is None else focus)
    seen = _seen(subject, pose)
    if focus is None:
        focus = focus_spot(subject, seen, pose)
        pose = _framed(ask, subject.outline, rotation, focus)
    pose, words = _no_larger(ask, pose)
    face = subject.band(0.6, 1.0)[seen] if subject.upright else np.ones(int(seen.sum()), bool)
    face = face if face.any() else ~face
    depths = _depths(subject.points[seen], pose)
    if not (ask.focus or ask.fnumber or ask.hold):
        step = _step_in(ask, pose, whole=depths, part=depths[face])
        pose, words = _no_larger(ask, _framed(ask, subject.outline, rotation, focus - rotation[:, 2] * step))
        depths = _depths(subject.points[seen], pose)
    shot = _with_fnumber(ask, pose, focus, whole=depths, part=depths[face])
    return replace(shot, words=words + shot.words + _too_deep(shot, depths))


TILTS = ((1.2, 12.0), (4.0, 25.0), (9.0, 38.0))
"""Width over height of a subject, and how far a product shot of it looks down, degrees; between them in proportion, beyond them
the same. Of a flat one only the rim would show, and what is shown on a medal would be foreshortened. Set by eye."""


def product_tilt(subject: Subject) -> float:
    """How far a product shot looks down (degrees)."""
    ratios, tilts = zip(*TILTS, strict=True)
    return float(np.interp(subject.width / max(subject.height, 1e-9), ratios, tilts))


def focus_spot(subject: Subject, seen: Bools, pose: CameraPose) -> Floats:
    """The point (3,) to focus on: the nearest rich relief, on the face where there is one, else on all that is seen."""
    chosen = seen
    if subject.upright and (seen & subject.band(*FACE)).sum() >= 8:
        chosen = seen & subject.band(*FACE)
    points, richness = subject.points[chosen], subject.richness[chosen]
    if not len(points):
        return subject.middle
    side = (points - pose.position) @ pose.rotation[:, 0]
    central = np.abs(side - np.median(side)) <= 0.6 * np.percentile(np.abs(side - np.median(side)), 95) + 1e-9
    if central.any():  # with few points, all equally far from the middle, none is central
        points, richness = points[central], richness[central]
    depth = _depths(points, pose)
    near = depth <= np.percentile(depth, 35)
    points, richness = points[near], richness[near]
    rich = richness >= np.percentile(richness, 60)
    goal = np.median(points[rich], axis=0)
    return points[rich][np.linalg.norm(points[rich] - goal, axis=1).argmin()].astype(float)


LOWEST_MM = 5.0
"""A camera stands at least this high above the table."""


def _no_larger(ask: ShotAsk, pose: CameraPose) -> tuple[CameraPose, tuple[str, ...]]:
    """The camera pose, moved back where the framing would exceed the magnification `LARGEST`, and sentences that say so."""
    m = optics.magnification(ask.focal, pose.focus_mm, pupil_ratio=ask.pupil_ratio)
    if m <= optics.LARGEST:
        return pose, ()
    distance = optics.focus_for(ask.focal, optics.LARGEST, pupil_ratio=ask.pupil_ratio)
    position = pose.position + pose.rotation[:, 2] * (distance - pose.focus_mm)
    words = f"{ask.name}: that large in the picture is magnification {m:.1f}; {optics.LARGEST:.0f}:1 is the most and is taken"
    return CameraPose(position, pose.rotation, distance), (words,)


def _too_deep(shot: Shot, depths: Floats) -> tuple[str, ...]:
    """A sentence where much of what is seen (depths, mm) is not sharp, and what would make it so."""
    if shot.ask.fnumber or shot.ask.hold or shot.optics.fnumber < stops(shot.ask, shot.optics.magnification)[2]:
        return ()
    near, far = optics.limits(shot.optics, shot.ask.coc)
    if ((depths >= near) & (depths <= far)).mean() >= 0.5:
        return ()
    first, last = float(depths.min()), float(depths.max())
    count = len(bracket(shot.optics, first, last, shot.ask.coc, most=100_000).focus_mm)
    words = (
        f"{shot.ask.name}: f/{shot.optics.fnumber:g} holds {far - near:.1f} mm of the {last - first:.1f} mm seen, and a "
        f'smaller opening would only soften it; a focus bracket (depth = "bracket") would hold all in {count} slices'
    )
    return (words,)


def _solve_detail(ask: ShotAsk, subject: Subject, spot: Floats | None) -> Shot:
    m = ask.magnification or detail_magnification(subject, ask.frame_mm)
    if spot is None:
        spot = np.asarray(ask.focus, float) if ask.focus else subject.points[int(subject.richness.argmax())].astype(float)
    pose = _close(ask, spot, ask.tilt_deg, m)
    if pose.position[2] < LOWEST_MM:
        lacking = LOWEST_MM - spot[2] - min(ask.shift[1], 0.0)
        steeper = np.degrees(np.arcsin(np.clip(lacking / pose.focus_mm, -1.0, 1.0)))
        pose = _close(ask, spot, max(ask.tilt_deg, float(steeper)), m)
    seen = _seen(subject, pose)
    near = seen & (np.linalg.norm(subject.points - spot, axis=1) < 0.3 * ask.frame_mm[1] / m)
    depths = _depths(subject.points[near], pose) if near.any() else np.array([pose.focus_mm])
    return _with_fnumber(ask, pose, spot, whole=depths, part=depths)


def _close(ask: ShotAsk, spot: Floats, tilt_deg: float, m: float) -> CameraPose:
    """The camera of a close look at a spot (3,), the frame's middle beside it as asked."""
    rotation = look(ask.azimuth_deg, tilt_deg)
    middle = np.asarray(spot, float) + rotation[:, :2] @ np.asarray(ask.shift, float)
    return pose_at(middle, rotation=rotation, focal_mm=ask.focal, m=m, pupil_ratio=ask.pupil_ratio)


def _solve_turntable(ask: ShotAsk, subject: Subject) -> Shot:
    solid = swept(subject.outline)
    rotation = look(ask.azimuth_deg, ask.tilt_deg)
    height = subject.middle[2] + (0.2 * subject.height if subject.upright else 0.0)
    focus = np.asarray(ask.focus, float) if ask.focus else np.array([0.0, 0.0, height])
    pose = _framed(ask, solid, rotation, focus)
    if ask.focus is None:  # at the middle of the depths seen over the turn: nearer than the axis on a round piece
        focus = focus + rotation[:, 2] * (pose.focus_mm - float(np.median(_turning_depths(subject, pose))))
        pose = _framed(ask, solid, rotation, focus)
    pose, words = _no_larger(ask, pose)
    depths = _turning_depths(subject, pose)
    shot = _with_fnumber(ask, pose, focus, whole=depths, part=depths)
    return replace(shot, words=words + shot.words)


def _turning_depths(subject: Subject, pose: CameraPose) -> Floats:
    """(k,) depths of the points that the camera sees in twelve positions of the subject's turn, together."""
    few = thinned(len(subject.points), 8000)
    points, normals = subject.points[few], subject.normals[few]
    found = []
    for angle in np.arange(12) * (np.pi / 6.0):
        cos, sin = np.cos(angle), np.sin(angle)
        turn = np.array([[cos, sin, 0.0], [-sin, cos, 0.0], [0.0, 0.0, 1.0]])
        seen = visible(points @ turn, normals @ turn, position=pose.position, rotation=pose.rotation, cells=40)
        found.append(_depths((points @ turn)[seen], pose))
    depths = np.concatenate(found)
    return depths if len(depths) else np.array([pose.focus_mm])


def _framed(ask: ShotAsk, outline: Floats, rotation: Floats, focus: Floats) -> CameraPose:
    return frame_points(
        outline, rotation=rotation, focus=focus, focal_mm=ask.focal, frame_mm=ask.frame_mm, placement=ask.placement,
        pupil_ratio=ask.pupil_ratio,
    )  # fmt: skip


def _with_fnumber(ask: ShotAsk, pose: CameraPose, focus: Floats, *, whole: Floats, part: Floats) -> Shot:
    """The f-number that holds the whole if the lens can, else the part that matters, else the best possible, with a
    sentence."""
    base = optics.Optics(ask.focal, ask.fnumber or 8.0, pose.focus_mm, ask.pupil_ratio)
    if ask.fnumber:
        return Shot(ask, pose, base, focus)
    if ask.hold:
        return _holding(ask, pose, base, focus)
    for near, far, most in _wishes(ask, base.magnification, whole, part):
        exact = optics.fnumber_reaching(base, near, far, ask.coc)
        if exact <= most:
            return Shot(ask, pose, replace(base, fnumber=_stop(ask, base, exact)), focus)
    return Shot(ask, pose, replace(base, fnumber=stops(ask, base.magnification)[2]), focus)


def _wishes(ask: ShotAsk, m: float, whole: Floats, part: Floats) -> tuple[tuple[float, float, float], ...]:
    """What should be sharp, the best first: near and far end (mm) and the largest f-number that it is worth."""
    _, enough, narrowest = stops(ask, m)
    ends = (np.percentile(whole, [2.0, 98.0]), np.percentile(part, [8.0, 80.0]))
    return tuple((float(near), float(far), most) for (near, far), most in zip(ends, (enough, narrowest), strict=True))


def _stop(ask: ShotAsk, base: optics.Optics, exact: float) -> float:
    """The marked f-number taken for an exact one."""
    widest, _, narrowest = stops(ask, base.magnification)
    return min(optics.marked(max(exact, widest)), narrowest)


MOST_ASIDE = 0.22
"""How far the focus may lie from the point asked for, as a share of the sharp depth: the blur of that point stays below half
the circle of confusion, with room for the rounding of stops."""


def _step_in(ask: ShotAsk, pose: CameraPose, *, whole: Floats, part: Floats) -> float:
    """How far (mm) behind the asked point the lens is better focused, so that less of the sharp depth lies before the subject.

    Focused on the nearest spot, half of the sharp depth is empty air; photographers focus about a third into the depth (common
    practice).
    """
    base = optics.Optics(ask.focal, 8.0, pose.focus_mm, ask.pupil_ratio)
    step = 0.0
    for near, far, most in _wishes(ask, base.magnification, whole, part):
        best = 2.0 * near * far / (near + far) - pose.focus_mm
        low, high = 0.0, 1.0
        for _ in range(24):  # bisect how far towards the best focus the lens may go before the asked point is too soft
            share = 0.5 * (low + high)
            moved = replace(base, focus_mm=pose.focus_mm + share * best)
            moved = replace(moved, fnumber=_stop(ask, moved, optics.fnumber_reaching(moved, near, far, ask.coc)))
            if abs(share * best) <= MOST_ASIDE * optics.depth_of_field(moved, ask.coc):
                low = share
            else:
                high = share
        step = low * best
        moved = replace(base, focus_mm=pose.focus_mm + step)
        if optics.fnumber_reaching(moved, near, far, ask.coc) <= most:
            break
    return step


def stops(ask: ShotAsk, m: float) -> tuple[float, float, float]:
    """Marked f-numbers for this format and magnification: the widest wanted, the last with a soft background, the last of all.

    Scaled by the format's diagonal, which keeps depth and background alike in the picture; limited so that N (1 + m/p) stays
    under `SOFTEST`; none below f/1.4, which no macro lens has (common practice).
    """
    crop = float(np.hypot(36.0, 24.0) / np.hypot(*ask.format_mm))
    last = min(NARROWEST, SOFTEST / (1.0 + m / ask.pupil_ratio)) / crop
    narrowest, enough, widest = (max(optics.marked(min(n, last), up=False), 1.4) for n in (last, WHOLE / crop, WIDEST / crop))
    return widest, enough, narrowest


def _holding(ask: ShotAsk, pose: CameraPose, base: optics.Optics, focus: Floats) -> Shot:
    ends = _depths(np.asarray(ask.hold, float), pose)
    exact = optics.fnumber_reaching(base, float(ends.min()), float(ends.max()), ask.coc)
    best = optics.marked(exact)
    if exact <= optics.THIRD_STOPS[-1]:
        return Shot(ask, pose, replace(base, fnumber=best), focus)
    words = (
        f"{ask.name}: no f-number holds {np.ptp(ends):.1f} mm of depth at magnification {base.magnification:.2f} "
        f"(f/{exact:.0f} would be needed); f/{best:g} is set, use a focus bracket for the rest"
    )
    return Shot(ask, pose, replace(base, fnumber=best), focus, (words,))


def _seen(subject: Subject, pose: CameraPose) -> Bools:
    return visible(subject.points, subject.normals, position=pose.position, rotation=pose.rotation)


def _depths(points: Floats, pose: CameraPose) -> Floats:
    return -(np.asarray(points, float) - pose.position) @ pose.rotation[:, 2]
