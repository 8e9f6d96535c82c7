"""Where would the camera have to stand for another size in the picture, or another focal length?

The answers of `lens_answers` assume a flat subject in focus. Here the piece has depth and the camera a position, so the
outline must fill the frame, nothing may be cut off, and the lens must not touch the piece or go under the table.
"""

from __future__ import annotations

from dataclasses import replace

from ..arrays import Floats
from ..records import record
from .framing import CameraPose, Placement, frame_points, half_slopes, outline_share, project
from .lens_answers import Answer, at_focal_length
from .optics import LARGEST, Optics, magnification

MOST_WIDE = 0.98
"""The share of the frame's width past which the outline counts as cut off."""

LOWEST_MM, NEAREST_MM = 5.0, 5.0
"""Least height of the camera above the table, least distance of the lens from the piece (mm)."""


@record
class Move:
    """An answer and the camera pose for it; for an impossible wish, the nearest possible one."""

    answer: Answer
    pose: CameraPose


def fill_height(points: Floats, pose: CameraPose, optics: Optics, frame_mm: tuple[float, float], *, share: float) -> Move:
    """The camera pose from which the outline of points (n, 3) fills a share of the frame's height, composed as it is now.

    The point in focus on the axis stays in focus. Raises ValueError when there is nothing to frame.

    frame_mm: width and height of the frame on the sensor.
    """
    headroom, across = _composition(points, pose, optics, frame_mm)
    for middle in (across, 0.0):  # centred only where the edge would cut it off
        asked = _framed(points, pose, optics, frame_mm, Placement(share, 9.0, headroom, middle))
        lens = replace(optics, focus_mm=asked.focus_mm)
        left, right, _, _ = outline_share(points, asked, half_slopes(lens, frame_mm))
        if max(-left, right) <= MOST_WIDE:
            break
    wide = 0.5 * (right - left)
    trouble = _trouble(points, asked, lens, share)
    if trouble:
        return Move(Answer(False, optics, trouble), pose)
    step = optics.focus_mm - asked.focus_mm
    way = f"{abs(step):.0f} mm {'nearer' if step > 0 else 'farther'}"
    if wide <= MOST_WIDE:
        words = (
            f"{lens.focus_mm:.0f} mm from the lens, {way}, fills {100 * share:.0f} % at magnification {lens.magnification:.2f}"
        )
        return Move(Answer(True, lens, words), asked)
    best = _framed(points, pose, optics, frame_mm, Placement(share, 0.96))
    lens = replace(optics, focus_mm=best.focus_mm)
    _, _, low, high = outline_share(points, best, half_slopes(lens, frame_mm))
    words = (
        f"the subject would be {100 * wide:.0f} % as wide as the picture: {50 * (high - low):.0f} % of the height is the most, "
        f"at {best.focus_mm:.0f} mm; a taller picture takes more"
    )
    return Move(Answer(False, lens, words), best)


def other_focal(points: Floats, pose: CameraPose, optics: Optics, *, focal_mm: float) -> Move:
    """The camera pose from which what is in focus keeps its size in the picture at another focal length.

    points: (n, 3) mm, which the lens must not come too near to.
    """
    answer = at_focal_length(optics, focal_mm)
    position = pose.position + pose.rotation[:, 2] * (answer.optics.focus_mm - optics.focus_mm)
    moved = CameraPose(position, pose.rotation, answer.optics.focus_mm)
    trouble = _trouble(points, moved, answer.optics, None)
    return Move(Answer(False, optics, f"{answer.words}: {trouble}"), pose) if trouble else Move(answer, moved)


def _composition(points: Floats, pose: CameraPose, optics: Optics, frame_mm: tuple[float, float]) -> tuple[float, float]:
    """Headroom and middle of the outline in the present picture; the defaults where the outline is cut off."""
    left, right, low, high = outline_share(points, pose, half_slopes(optics, frame_mm))
    if not (-1.0 <= low < high <= 1.0 and -1.0 <= left < right <= 1.0):
        return Placement().headroom, 0.0
    free = 2.0 - (high - low)
    return ((1.0 - high) / free if free > 1e-6 else Placement().headroom), 0.5 * (left + right)


def _framed(
    points: Floats, pose: CameraPose, optics: Optics, frame_mm: tuple[float, float], placement: Placement
) -> CameraPose:
    focus = pose.position - pose.rotation[:, 2] * optics.focus_mm
    return frame_points(
        points, rotation=pose.rotation, focus=focus, focal_mm=optics.focal_mm, frame_mm=frame_mm, placement=placement,
        pupil_ratio=optics.pupil_ratio,
    )  # fmt: skip


def _trouble(points: Floats, pose: CameraPose, optics: Optics, share: float | None) -> str:
    """Why a camera can't stand there; empty when it can."""
    nearest = float(project(points, pose.position, pose.rotation)[1].min())
    if nearest < NEAREST_MM:
        return f"the lens would touch the subject, {NEAREST_MM:.0f} mm are needed: take a longer lens"
    if pose.position[2] < LOWEST_MM and pose.rotation[2, 2] < 0.0:
        return "the camera would stand under the table: tilt it to look down"
    m = magnification(optics.focal_mm, pose.focus_mm, pupil_ratio=optics.pupil_ratio)
    if share is not None and m > LARGEST:
        return f"{100 * share:.0f} % would need magnification {m:.1f}; beyond {LARGEST:.0f}:1 this is a microscope's work"
    return ""
