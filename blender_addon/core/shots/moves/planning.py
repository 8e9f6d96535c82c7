"""How far may a move go? As far as its target stays sharp, the piece stays in the frame and the lens touches nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from ...arrays import Bools, Floats
from ..framing import half_slopes, project
from ..optics import Optics, blur_disc
from ..sight import LENS_ROOM_MM
from .paths import From, Path, path

Clearance = Callable[[Floats], Floats]
"""Places (n, 3) mm to their distances (n,) from the nearest surface, mm."""

REACHES = (1.0, 0.8, 0.6, 0.45, 0.3, 0.2)
"""Shares of the usual length that are tried, the longest first."""
EDGE = 0.98
"""How far the piece's outline may reach, as a share of half the frame."""
LOWEST_MM = 5.0
"""A lens's middle stays at least this high above the table."""
ROOM_SHARE = 0.4
"""Room round the lens as a share of the focus distance, where that is less than `LENS_ROOM_MM`."""


def planned(kind: str, start: From, frames: int, *, coc_mm: float, outline: Floats, clearance: Clearance) -> Path:
    """The longest path of a move that fails at no frame.

    outline: (n, 3) points of the piece, which must not be cut off more than in the shot itself. kind: of the move, one of
    `paths.KINDS`. Raises ValueError, with the reason, when even a fifth of the usual length fails.
    """
    base = beyond_frame(_still(start), start.frame_mm, outline)
    why = ""
    for reach in REACHES:
        found = path(kind, start, frames, reach=reach)
        if out_of_focus(found, coc_mm).any():
            why = "its target would not stay sharp"
        elif beyond_frame(found, start.frame_mm, outline).max() > max(EDGE, float(base[0])) + 1e-6:
            why = "the piece would be cut off by the frame"
        elif (found.positions[:, 2] < LOWEST_MM).any() or collisions(found, clearance).any():
            why = "the lens would touch something"
        else:
            return found
    raise ValueError(f"no {kind.replace('_', ' ')} of a length worth seeing: {why}")


def out_of_focus(found: Path, coc_mm: float) -> Bools:
    """(n,) bool: the frames whose target is blurred by more than the circle of confusion."""
    depths = found.depths()
    blur = [
        float(blur_disc(replace(found.optics, focus_mm=float(focus)), float(depth)))
        for focus, depth in zip(found.focus_mm, depths, strict=True)
    ]
    return np.array(blur) > coc_mm * (1.0 + 1e-9)


def collisions(found: Path, clearance: Clearance) -> Bools:
    """(n,) bool: the frames at which something stands within the room that the lens itself takes."""
    return clearance(found.positions) < np.minimum(LENS_ROOM_MM, ROOM_SHARE * found.focus_mm)


def beyond_frame(found: Path, frame_mm: tuple[float, float], outline: Floats) -> Floats:
    """(n,) how far the outline (k, 3) reaches at each frame, as a share of half the frame: over 1 is cut off."""
    reach = []
    for position, rotation, focus in zip(found.positions, found.rotations, found.focus_mm, strict=True):
        slopes, depth = project(outline, position, rotation)
        half = half_slopes(replace(found.optics, focus_mm=float(focus)), frame_mm)
        reach.append(float((np.abs(slopes[depth > 0]) / np.array(half)).max(initial=0.0)))
    return np.array(reach)


def rack_lens(optics: Optics, near_mm: float, far_mm: float, coc_mm: float, stops: tuple[float, ...]) -> Optics | None:
    """The lens at the smallest opening that leaves one of two depths (mm) unsharp while the other is sharp, or None.

    stops: marked f-numbers to choose from. A blur of three circles of confusion is seen as unsharp (common practice: two are
    just noticeable).
    """
    for fnumber in sorted(stops, reverse=True):
        blurs = []
        for focus, other in ((near_mm, far_mm), (far_mm, near_mm)):
            blurs.append(float(blur_disc(replace(optics, fnumber=fnumber, focus_mm=focus), other)))
        if min(blurs) >= 3.0 * coc_mm:
            return replace(optics, fnumber=fnumber)
    return None


def first_of_rack(points: Floats, target: Floats, start: From) -> Floats:
    """(3,) the one of the visible points (n, 3) at which a rack focus begins: in the frame, as far before or behind the target
    as possible."""
    slopes, depth = project(points, start.pose.position, start.pose.rotation)
    half = np.array(half_slopes(start.optics, start.frame_mm))
    inside = (np.abs(slopes) < 0.85 * half).all(axis=1) & (depth > 0)
    if not inside.any():
        raise ValueError("no rack focus: nothing of the piece lies in the frame")
    own = -float((target - start.pose.position) @ start.pose.rotation[:, 2])
    away = np.abs(depth[inside] - own)
    return points[inside][np.argsort(away)[int(0.97 * (len(away) - 1))]]


def _still(start: From) -> Path:
    """The shot itself as a path of one frame."""
    return Path(
        "still", start.pose.position[None], start.pose.rotation[None], np.array([start.pose.focus_mm]), start.target[None],
        start.optics,
    )  # fmt: skip
