"""How is a close look at a head taken? From where it shows most, with the whole head in the frame and its face sharp."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...arrays import Bools, Floats
from ...records import record
from ..framing import look, project
from ..optics import LARGEST, focus_for
from ..subject import Subject, cells_of, thinned
from .crops import UNLIT, View, uncut
from .detail_spots import CloseLook, detail_magnification, view_of
from .head import Head

TURNS = 24
"""Directions round the head that are tried."""
ASIDE = {0.0: 0.9, -25.0: 1.0, 25.0: 1.0, -50.0: 0.6, 50.0: 0.6}
LITTLE_ASIDE = {0.0: 0.9, -10.0: 1.0, 10.0: 1.0}
"""Angles from the direction it faces at which it is viewed, degrees, and the factor on the score: a three-quarter view shows
more of a form than a frontal one; further round where something stands before the face, a raised arm. Small angles where there
is no neck, since the body would stand beside the head. Set by eye."""
HIDDEN = 2.0
"""Exponent by which a view counts less for what the body hides of the head in it. A guess."""
TILTS = (-6.0, 2.0, 10.0, 20.0)
"""Camera tilts that are tried, degrees: a face that looks down is seen from its own height or from a little below."""
LOOKED_INTO, ABOVE = 40.0, 6.0
"""Angle between the camera's tilt and the best one, degrees, at which a view counts 1/e, and how far the best one is above that
which looks straight into the face: the table stays in the picture, but a rich crown alone is no reason to look down on a bowed
head. Set by eye on labelled scans and our owl."""
AIR = 1.16
"""Size of the frame over that of the head, in width and height."""
BELOW = 0.12
"""Extra room below the head, as a share of its height: a head that ends at the frame's edge looks cut off."""
NEAREST = 1.0
"""Largest magnification of a head, that of a macro lens; more only for a small piece whose close looks are all larger."""
TIP, LOW = 0.3, 0.2
"""How fast the value of a point as focus falls before the nearest fifth of a head, in radii of the head, and what a point at
the foot of a head without a neck counts beside one at its top. Set on labelled scans (tips of noses)."""
FILLS = 0.5
"""Share of the frame's height that a head fills where the lens can come near enough."""


@record
class Lens:
    """What the close look is taken with: the frame (width, height) and the focal length in mm, and the pupil ratio."""

    frame_mm: tuple[float, float]
    focal_mm: float
    pupil_ratio: float = 1.0

    def distance(self, magnification: float) -> float:
        """Distance (mm) to what is in focus at a magnification."""
        return focus_for(self.focal_mm, magnification, pupil_ratio=self.pupil_ratio)


def head_look(subject: Subject, head: Head, lens: Lens, worth: Floats, *, other_side: bool = False) -> CloseLook | None:
    """The close look at a head; `grown` is over the subject's usual magnification. None where from everywhere it shows most of
    what no close look is to show, as the neck of a jar does that was taken for a head. worth: (k,) of the subject's points.
    other_side: from opposite where the head seems to face."""
    facing = (facing_of(subject, head, worth) + (180.0 if other_side else 0.0)) % 360.0
    face = face_of(subject, head, worth, facing)
    pitch = _pitch_of(subject, head, worth, face, facing)
    best: CloseLook | None = None
    most = -np.inf
    for aside, factor in (ASIDE if head.neck else LITTLE_ASIDE).items():
        for tilt in TILTS:
            found, score = _tried(subject, head, lens, worth, face, (facing + aside, tilt))
            score *= factor * np.exp(-(((tilt - pitch - ABOVE) / LOOKED_INTO) ** 2))
            score = score if np.isfinite(score) else 0.0  # where no side of the head has any worth
            if score > most:
                best, most = found, score
    return best if most >= 0.0 else None


def facing_of(subject: Subject, head: Head, worth: Floats) -> float:
    """Azimuth (degrees) from which a head shows its face, judged by form alone: in its mirror plane, towards the front and the
    side to which it protrudes, where there is most to see."""
    points, normals, rich = subject.points[head.points], subject.normals[head.points], worth[head.points]
    azimuth = np.arange(TURNS) * 360.0 / TURNS
    ways = np.stack([np.sin(np.radians(azimuth)), -np.cos(np.radians(azimuth))], axis=1)
    wish = np.array([0.0, -1.0]) + 1.5 * head.out
    wish = wish / max(float(np.linalg.norm(wish)), 1e-9)
    toward = np.clip(normals[:, :2] @ ways.T - 0.3, 0.0, None)
    detail = (rich[:, None] * toward).sum(axis=0) / np.maximum(toward.sum(axis=0), 1e-9)
    detail = detail / max(float(detail.max()), 1e-9)
    few = points[thinned(len(points), 1500)] - head.middle
    mirrored = np.array([_likeness(few, way, head.radius) for way in ways[: TURNS // 2]])
    score = ways @ wish + 0.8 * np.tile(mirrored, 2) + 0.6 * detail
    return float(azimuth[int(np.argmax(score))])


def _likeness(points: Floats, way: Floats, radius: float) -> float:
    """0 to 1: the share of the cells filled by points (k, 3) that their mirror image in the vertical plane along `way` fills,
    too."""
    across = np.array([-way[1], way[0], 0.0])
    image = points - 2.0 * (points @ across)[:, None] * across
    cell = max(0.3 * radius, 1e-9)
    stride = np.array([1 << 40, 1 << 20, 1])
    first, second = (np.unique(np.floor(part / cell).astype(np.int64) @ stride) for part in (points, image))
    both = len(np.union1d(first, second))
    return (len(first) + len(second) - both) / max(both, 1)


def _tried(
    subject: Subject, head: Head, lens: Lens, worth: Floats, face: Floats, view: tuple[float, float]
) -> tuple[CloseLook, float]:
    """A close look from one direction (azimuth and tilt, degrees), and how well it shows the head and its face (3,)."""
    rotation = look(*view)
    usual = detail_magnification(subject, lens.frame_mm)
    mine = head.points
    whole, rest = _part(subject, mine), _part(subject, ~mine)
    front = head.middle + rotation[:, 2] * head.radius
    own = view_of(whole, worth[mine], front, rotation, lens.distance(usual), others=rest)
    alone = view_of(whole, worth[mine], front, rotation, lens.distance(usual))
    bare = (len(own.points) / max(len(alone.points), 1)) ** HIDDEN
    near = np.exp(-((np.linalg.norm(own.points - face, axis=1) / head.radius) ** 2))
    place = _focus(own, head, near)
    spot = front if place is None else own.points[place]
    shift, magnification = np.zeros(2), usual
    half = np.ones(2)
    for _ in range(4):  # how large it appears depends on how near the lens comes, which depends on how large it appears
        off, half = _box(whole.points, spot, rotation, shift, lens.distance(magnification))
        shift = shift + off
        magnification = _magnification(lens, half, usual)
    frame = 0.5 * np.asarray(lens.frame_mm) / magnification
    distance = lens.distance(magnification)
    eye = spot + rotation[:, :2] @ shift + rotation[:, 2] * distance
    edge, depth = project(subject.outline[thinned(len(subject.outline), 4000)], eye, rotation)
    moved, factor = _settled(edge[depth > 0] * distance, frame, half)
    value = float((own.worth * (0.3 + near) * np.where(own.lit, 1.0, UNLIT)).sum())
    shift = shift + moved
    return CloseLook(spot, *view, (float(shift[0]), float(shift[1])), magnification * factor / usual), value * bare


def _part(subject: Subject, which: Bools) -> Subject:
    """The subject with those of its points (k,) alone."""
    return replace(subject, points=subject.points[which], normals=subject.normals[which], richness=subject.richness[which])


def _box(points: Floats, spot: Floats, rotation: Floats, shift: Floats, distance: float) -> tuple[Floats, Floats]:
    """Middle (2,), from the frame's middle, and half size (2,) in mm, in the plane of focus, of points (k, 3) from a camera
    whose frame lies `shift` (2,) beside a spot in focus."""
    slopes, _ = project(points, spot + rotation[:, :2] @ shift + rotation[:, 2] * distance, rotation)
    low, high = np.percentile(slopes, 0.2, axis=0), np.percentile(slopes, 99.8, axis=0)
    return 0.5 * (low + high) * distance, 0.5 * (high - low) * distance


def _magnification(lens: Lens, half: Floats, usual: float) -> float:
    """The magnification at which the head fills a good part of the frame with air round it, at most that of other close
    looks."""
    frame = 0.5 * np.asarray(lens.frame_mm)
    holds = float((frame / np.maximum([AIR * half[0], (AIR + BELOW) * half[1]], 1e-9)).min())
    fills = FILLS * frame[1] / max(float(half[1]), 1e-9)
    nearest = max(NEAREST, usual)
    return float(np.clip(min(holds, max(fills, usual)), 1e-3, min(nearest, LARGEST)))


def _settled(edge: Floats, frame: Floats, half: Floats) -> tuple[Floats, float]:
    """How far the frame (half its size in mm) is moved from the head's middle (2,), and the further magnification, so that no
    outline (edge (k, 2), from the head's middle) is just clipped and the whole head (half its size) stays inside."""
    best, most = (np.zeros(2), 1.0), -1.0
    for factor in (1.0, 0.9, 0.82):
        room = np.maximum(frame / factor - 1.05 * half, 0.0)
        lower = -min(float(room[1]), BELOW * float(half[1]))  # more below a head than above it
        for across in (0.0, -0.4, 0.4):
            for up in (lower, 0.6 * lower - 0.4 * float(room[1]), 0.0):
                moved = np.array([across * room[0], up])
                value = uncut((edge - moved) / (frame / factor)) - 0.25 * (1.0 - factor) - 0.08 * abs(across)
                if value > most:
                    best, most = (moved, factor), value
    return best


def face_of(subject: Subject, head: Head, worth: Floats, facing: float) -> Floats:
    """(3,) the middle of what protrudes most and has most worth on the side that a head faces: nose, beak, muzzle.

    worth: (k,) of the subject's points. facing: degrees from the front, counter-clockwise from above.
    """
    way = np.array([np.sin(np.radians(facing)), -np.cos(np.radians(facing)), 0.0])
    points, normals, rich = subject.points[head.points], subject.normals[head.points], worth[head.points]
    ahead = points @ way
    front = normals @ way > 0.2
    if front.sum() < 10:
        return head.middle + way * head.radius
    weight = _high_up(points, head) * np.where(front, np.maximum(rich, 0.05), 0.0)
    weight *= np.exp((ahead - ahead[front].max()) / (0.35 * head.radius))
    return (points * weight[:, None]).sum(axis=0) / weight.sum()


def _pitch_of(subject: Subject, head: Head, worth: Floats, face: Floats, facing: float) -> float:
    """Degrees above the horizon to which the surface round a face (3,) turns, within the tilts that are tried."""
    way = np.array([np.sin(np.radians(facing)), -np.cos(np.radians(facing)), 0.0])
    points, normals = subject.points[head.points], subject.normals[head.points]
    weight = np.exp(-((np.linalg.norm(points - face, axis=1) / head.radius) ** 2)) * np.clip(normals @ way, 0.0, None)
    mean = (normals * (weight * np.maximum(worth[head.points], 0.0))[:, None]).sum(axis=0)
    level = float(np.hypot(mean[0], mean[1]))
    return float(np.clip(np.degrees(np.arctan2(mean[2], level)), TILTS[0], TILTS[-1])) if level > 0.0 else 0.0


def _focus(view: View, head: Head, near: Floats) -> int | None:
    """Index of the point to focus on: where there is most to see near the face, on the side of the camera but not before nearly
    all of it (the nearer eye, not the tip of the nose: common practice), and high up where no neck tells head from body."""
    if not len(view.points):
        return None
    number, count = cells_of(view.points, 0.4 * head.radius)
    value = np.maximum(view.worth, 0.0) * np.where(view.lit, 1.0, 0.6)
    mean = np.bincount(number, value, count) / np.maximum(np.bincount(number, minlength=count), 1)
    nearest, close = np.percentile(view.beyond, [10, 20])
    ahead = np.exp(-np.clip(view.beyond - nearest, 0.0, None) / (1.5 * head.radius))
    ahead *= np.exp(-np.clip(close - view.beyond, 0.0, None) / (TIP * head.radius))
    total = (mean[number] + 0.2 * value) * near * ahead
    return int(np.argmax(total * _high_up(view.points, head)))


def _high_up(points: Floats, head: Head) -> Floats:
    """(n,) what points (n, 3) of a head count by their height: 1, or where no neck tells head from body from `LOW` to 1."""
    if head.neck:
        return np.ones(len(points))
    low, high = np.percentile(points[:, 2], [5, 95])
    return np.asarray(LOW + (1.0 - LOW) * np.clip((points[:, 2] - low) / max(float(high - low), 1e-9), 0.0, 1.0), float)
