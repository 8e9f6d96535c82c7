"""How far round is the turntable at each frame? A loop without a double frame, steady or eased."""

from __future__ import annotations

import math

import numpy as np

from ..arrays import Floats

EASE = 0.75
"""Share of the mean speed lost at the slowest point of an eased turn; below 1, so that it never stops or turns back."""


def angle_at(frame: float, frames: int, *, pace: str = "steady", turns: float = 1.0) -> float:
    """Angle (radians) at a frame, counted from 0; frame number `frames` would be the first again.

    pace: 'steady', or 'eased', which slows where the loop closes: t - k sin(2 pi t)/(2 pi), smooth over the seam.
    turns: full turns in `frames` frames.
    """
    if frames < 1:
        raise ValueError(f"a turntable needs at least one frame, not {frames}")
    if pace not in ("steady", "eased"):
        raise ValueError(f"pace must be 'steady' or 'eased', not {pace!r}")
    share = frame / frames
    if pace == "eased":
        share -= EASE * math.sin(2.0 * math.pi * share) / (2.0 * math.pi)
    return 2.0 * math.pi * turns * share


def angles(frames: int, *, pace: str = "steady", turns: float = 1.0) -> Floats:
    """(frames,) angles in radians, from 0 up to, but not including, the full turn."""
    if frames < 1:
        raise ValueError(f"a turntable needs at least one frame, not {frames}")
    return np.array([angle_at(frame, frames, pace=pace, turns=turns) for frame in range(frames)])
