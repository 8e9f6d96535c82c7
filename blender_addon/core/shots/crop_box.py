"""Which shot fills its frame with a box drawn in another shot's picture? One from the same place, with a longer lens."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from ..records import record
from .formats import frame_used
from .framing import CameraPose, half_slopes
from .optics import Optics

LEAST = 0.05
"""Least share of the frame's width and height of a box; a smaller one is taken for a slip."""


@record
class BoxShot:
    """A shot in the terms of a row of the job sheet: where from (degrees), the point in the middle and in focus (3,) mm, image
    over object size, focal length (mm), width over height."""

    azimuth_deg: float
    tilt_deg: float
    focus: Floats
    magnification: float
    focal_mm: float
    aspect: float


def box_shot(
    pose: CameraPose, optics: Optics, format_mm: tuple[float, float], aspect: float, box: tuple[float, ...]
) -> BoxShot:
    """The shot of a box (left, lower, right, upper, 0 to 1) of a picture of that width over height.

    The camera stays where it is and turns to the box's middle, in the plane that is in focus; a longer lens fills the frame.
    Raises ValueError for a box smaller than `LEAST`.

    format_mm: width and height of the sensor. aspect: width over height of the picture.
    """
    left, right = sorted((float(np.clip(box[0], 0.0, 1.0)), float(np.clip(box[2], 0.0, 1.0))))
    low, high = sorted((float(np.clip(box[1], 0.0, 1.0)), float(np.clip(box[3], 0.0, 1.0))))
    if right - left < LEAST or high - low < LEAST:
        raise ValueError("the box is too small: drag it over what the picture is to show")
    half = half_slopes(optics, frame_used(*format_mm, shape_of(aspect)))
    across, up = (left + right - 1.0) * half[0], (low + high - 1.0) * half[1]
    middle = pose.position + pose.focus_mm * (pose.rotation @ np.array([across, up, -1.0]))
    azimuth, tilt, distance = seen_from(pose.position, middle)
    own = aspect * (right - left) / (high - low)
    m = frame_used(*format_mm, shape_of(own))[0] / ((right - left) * 2.0 * half[0] * pose.focus_mm)
    return BoxShot(azimuth, tilt, middle, m, distance / (1.0 / m + 1.0 / optics.pupil_ratio), own)


def seen_from(position: Floats, middle: Floats) -> tuple[float, float, float]:
    """Azimuth and tilt (degrees) of a camera that looks from a place (3,) to another, and how far apart they are (mm)."""
    back = np.asarray(position, float) - np.asarray(middle, float)
    distance = float(np.linalg.norm(back))
    back = back / max(distance, 1e-12)
    return float(np.degrees(np.arctan2(back[0], -back[1]))), float(np.degrees(np.arcsin(np.clip(back[2], -1.0, 1.0)))), distance


def shape_of(aspect: float) -> tuple[int, int]:
    """Width and height of that ratio as whole numbers."""
    return (round(960 * aspect), 960) if aspect < 1.0 else (960, round(960 / aspect))
