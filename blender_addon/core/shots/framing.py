"""Where must the camera stand so that the subject fills the frame as asked? By its projected outline, not its bounding box.

For a camera that moves without turning, each edge of the frame is a plane of fixed slope: all points are below the upper edge,
of slope T, when y - cy <= T (z - cz) for each, so the camera whose frame touches the outline above and below has a closed form,
cz = (max(y - T z) - min(y - B z)) / (B - T). The one unknown left is the field of view, which at macro distances depends on
the focus distance; it is found by bisection on the magnification.
"""

from __future__ import annotations

import math

import numpy as np

from ..arrays import Floats
from ..records import record
from .optics import Optics, focus_for


@record
class Placement:
    """How the outline sits in the frame: shares of the frame's height and width that it may fill, and where the free room goes.

    `headroom` is the share of the free height above the outline, `across` the outline's middle from -1 (left edge) to 1.
    """

    fill_height: float = 0.7
    fill_width: float = 0.8
    headroom: float = 0.45
    across: float = 0.0


@record
class CameraPose:
    """Where the camera stands: position (3,) mm, rotation (3, 3) whose columns are the camera's axes, focus distance (mm).

    Camera axes as Blender's: x right, y up, z backwards.
    """

    position: Floats
    rotation: Floats
    focus_mm: float


def look(azimuth_deg: float, tilt_deg: float) -> Floats:
    """Rotation (3, 3) of a camera round the z axis by azimuth from the front (-Y), counter-clockwise from above, looking down.

    Azimuth 0 stands in front of the piece (at -Y), 90 at +X, 180 behind. Tilt 90 looks straight down.
    """
    a, t = math.radians(azimuth_deg), math.radians(tilt_deg)
    back = np.array([math.sin(a) * math.cos(t), -math.cos(a) * math.cos(t), math.sin(t)])
    right = np.array([math.cos(a), math.sin(a), 0.0])
    return np.stack([right, np.cross(back, right), back], axis=1)


def look_along(direction: Floats) -> Floats:
    """Rotation (3, 3) of a level camera that looks along a direction (3,)."""
    back = -np.asarray(direction, float) / np.linalg.norm(direction)
    azimuth = math.degrees(math.atan2(back[0], -back[1]))
    return look(azimuth, math.degrees(math.asin(np.clip(back[2], -1.0, 1.0))))


def project(points: Floats, position: Floats, rotation: Floats) -> tuple[Floats, Floats]:
    """Slopes (n, 2) right and up of the points seen from a camera, and their depth (n,) along its axis."""
    local = (np.asarray(points, float) - position) @ rotation
    depth = -local[:, 2]
    return local[:, :2] / np.where(np.abs(depth) > 1e-12, depth, 1e-12)[:, None], depth


def frame_points(
    points: Floats,
    *,
    rotation: Floats,
    focus: Floats,
    focal_mm: float,
    frame_mm: tuple[float, float],
    placement: Placement,
    pupil_ratio: float = 1.0,
) -> CameraPose:
    """The camera pose from which the points' (n, 3, mm) outline fills the frame as `placement` asks.

    `focus` (3,) is the point in focus. Raises ValueError when the points are fewer than two or all on one spot.

    rotation: (3, 3) of the camera. frame_mm: width and height of the frame on the sensor. pupil_ratio: exit over entrance
    pupil.
    """
    local = np.asarray(points, float) @ rotation
    across, up, ahead = local[:, 0], local[:, 1], -local[:, 2]
    if len(points) < 2 or max(np.ptp(across), np.ptp(up)) <= 0.0:
        raise ValueError("there is nothing to frame: the subject has no extent")
    focus_ahead = float(-(np.asarray(focus, float) @ rotation)[2])

    def camera(m: float) -> tuple[float, float, float]:
        half = _half_slopes(focal_mm, m, frame_mm, pupil_ratio)
        high, low = _edges(placement, half[1])
        wide = placement.fill_width * half[0]
        middle = placement.across * half[0]
        z_high, y_high = _touch(up, ahead, high, low)
        z_wide, x_wide = _touch(across, ahead, middle + wide, middle - wide)
        z = min(z_high, z_wide)
        y = y_high if z == z_high else _centred(up, ahead, z, 0.5 * (high + low), y_high)
        x = x_wide if z == z_wide else _centred(across, ahead, z, middle, x_wide)
        return x, y, z

    def surplus(log_m: float) -> float:
        m = math.exp(log_m)
        return math.log(max(focus_ahead - camera(m)[2], 1e-9) / focus_for(focal_mm, m, pupil_ratio=pupil_ratio))

    m = math.exp(_root(surplus, math.log(1e-4), math.log(40.0)))
    x, y, z = camera(m)
    position = rotation @ np.array([x, y, -z])
    return CameraPose(position, rotation, focus_ahead - z)


def pose_at(spot: Floats, *, rotation: Floats, focal_mm: float, m: float, pupil_ratio: float = 1.0) -> CameraPose:
    """The camera with a spot (3,) in focus in the middle of the frame at magnification m.

    rotation: (3, 3) of the camera. pupil_ratio: exit over entrance pupil.
    """
    distance = focus_for(focal_mm, m, pupil_ratio=pupil_ratio)
    return CameraPose(np.asarray(spot, float) + rotation[:, 2] * distance, rotation, distance)


def half_slopes(optics: Optics, frame_mm: tuple[float, float]) -> tuple[float, float]:
    """Tangents of half the angle of view, across and up: half the frame over m s."""
    return _half_slopes(optics.focal_mm, optics.magnification, frame_mm, optics.pupil_ratio)


def outline_share(points: Floats, pose: CameraPose, half: tuple[float, float]) -> tuple[float, float, float, float]:
    """Left, right, bottom and top of the outline in the frame; the frame reaches from -1 to 1."""
    slopes, depth = project(points, pose.position, pose.rotation)
    if (depth <= 0).any():
        return (-math.inf, math.inf, -math.inf, math.inf)
    u, v = slopes[:, 0] / half[0], slopes[:, 1] / half[1]
    return float(u.min()), float(u.max()), float(v.min()), float(v.max())


def swept(points: Floats, *, rings: int = 48, around: int = 48) -> Floats:
    """Points (k, 3) on the solid that a subject sweeps as it turns round the z axis: the widest radius in each band of
    height."""
    points = np.asarray(points, float)
    radius = np.hypot(points[:, 0], points[:, 1])
    low, high = points[:, 2].min(), points[:, 2].max()
    band = np.clip(((points[:, 2] - low) / max(high - low, 1e-9) * rings).astype(int), 0, rings - 1)
    widest = np.zeros(rings)
    np.maximum.at(widest, band, radius)
    angle = np.linspace(0.0, 2.0 * np.pi, around, endpoint=False)
    edges = np.linspace(low, high, rings + 1)
    # Each band is a short cylinder, so that no point of the subject sticks out of the rings.
    reach = np.maximum.reduce([np.r_[widest, 0.0], np.r_[0.0, widest]])
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1) / math.cos(math.pi / around)
    flat = reach[:, None, None] * ring[None]
    tall = np.broadcast_to(edges[:, None, None], (rings + 1, around, 1))
    return np.concatenate([flat, tall], axis=2).reshape(-1, 3)


def _half_slopes(focal: float, m: float, frame: tuple[float, float], pupil: float) -> tuple[float, float]:
    reach = 2.0 * m * focus_for(focal, m, pupil_ratio=pupil)
    return frame[0] / reach, frame[1] / reach


def _edges(placement: Placement, half: float) -> tuple[float, float]:
    free = 2.0 * (1.0 - placement.fill_height)
    high = 1.0 - free * placement.headroom
    return high * half, (high - 2.0 * placement.fill_height) * half


def _touch(side: Floats, ahead: Floats, high: float, low: float) -> tuple[float, float]:
    """Camera depth and offset at which the outline just touches both slopes."""
    upper = float((side - high * ahead).max())
    lower = float((side - low * ahead).min())
    depth = (upper - lower) / (low - high)
    return depth, upper + high * depth


def _centred(side: Floats, ahead: Floats, depth: float, target: float, start: float) -> float:
    """The offset at which the middle of the outline, seen from `depth`, lies at the slope `target`."""
    room = ahead - depth
    offset = start
    for _ in range(30):
        slope = (side - offset) / room
        high, low = int(slope.argmax()), int(slope.argmin())
        miss = 0.5 * (slope[high] + slope[low]) - target
        step = miss / (0.5 * (1.0 / room[high] + 1.0 / room[low]))
        offset += step
        if abs(step) < 1e-7 * abs(room[high]):
            break
    return offset


def _root(function, low: float, high: float) -> float:  # type: ignore[no-untyped-def]
    """The zero of a falling or rising function between two ends, by regula falsi with the Illinois weighting."""
    f_low, f_high = function(low), function(high)
    if f_low * f_high > 0.0:
        return low if abs(f_low) < abs(f_high) else high
    side = 0
    middle = low
    for _ in range(60):
        middle = (low * f_high - high * f_low) / (f_high - f_low)
        value = function(middle)
        if abs(value) < 1e-9:
            break
        if value * f_high > 0.0:
            high, f_high = middle, value
            f_low = 0.5 * f_low if side == -1 else f_low
            side = -1
        else:
            low, f_low = middle, value
            f_high = 0.5 * f_high if side == 1 else f_high
            side = 1
    return middle


__all__ = [
    "CameraPose",
    "Placement",
    "frame_points",
    "half_slopes",
    "look",
    "look_along",
    "outline_share",
    "pose_at",
    "project",
    "swept",
]  # fmt: skip
