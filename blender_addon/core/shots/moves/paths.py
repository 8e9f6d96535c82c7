"""Where is the camera at each frame of a push-in, a slide, an arc or a rack focus? One lens at one f-number, eased.

The lens keeps its focal length and its f-number; only the focus follows the target, as a focus puller does.
Each move begins and ends at rest: the share of the path covered is the minimum-jerk polynomial 10 t^3 - 15 t^4 + 6 t^5 (Flash
and Hogan, "The coordination of arm movements", J. Neuroscience 5, 1985), whose speed and acceleration are 0 at both ends.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...mesh.similarity import rotation_about
from ...records import record
from ..framing import CameraPose
from ..optics import Optics

KINDS = ("push_in", "slide", "arc", "rack_focus")
BACK = 0.3
"""How much farther than its shot a push-in begins, as a share of the focus distance. Set by eye."""
ASIDE = 0.16
"""How far to each side of its shot a slide goes, as a share of the width that the frame shows. Set by eye."""
ROUND_DEG = 18.0
"""How far to each side of its shot an arc goes. Set by eye."""
HOLD = 0.25
"""Share of a rack focus's time that the focus rests on each of the two targets. Set by eye."""


@record
class From:
    """What a move starts from: where the shot's camera stands, its lens, the used part of its sensor (mm), the target (3,) mm,
    and for a rack focus the target before it."""

    pose: CameraPose
    optics: Optics
    frame_mm: tuple[float, float]
    target: Floats
    first: Floats | None = None


@record
class Path:
    """A camera at each of n frames: positions (n, 3) mm, rotations (n, 3, 3) with the camera's axes as columns, focus distances
    (n,) mm, the point (n, 3) mm that is to be sharp, and the lens, whose focus distance is that of the shot."""

    kind: str
    positions: Floats
    rotations: Floats
    focus_mm: Floats
    targets: Floats
    optics: Optics

    def depths(self) -> Floats:
        """(n,) distance of each frame's target before the lens, along its axis, mm."""
        return -np.einsum("ni,ni->n", self.targets - self.positions, self.rotations[:, :, 2])


def eased(t: Floats) -> Floats:
    """The share of the path covered at shares t of the time, both 0 to 1."""
    t = np.clip(np.asarray(t, float), 0.0, 1.0)
    return t**3 * (10.0 - 15.0 * t + 6.0 * t * t)


def path(kind: str, start: From, frames: int, *, reach: float = 1.0) -> Path:
    """The path of a move over `frames` frames; reach: how far it goes, as a share of the usual length.

    The focus keeps the distance from the target along the axis that the shot gave it. Raises ValueError for an unknown kind,
    too few frames, or a rack focus without a first target.
    """
    if kind not in KINDS:
        raise ValueError(f"there is no move {kind!r}; there are {', '.join(KINDS)}")
    if frames < 2:
        raise ValueError(f"a move needs two frames at least, not {frames}")
    time = np.linspace(0.0, 1.0, frames)
    gone = eased(time)
    position, rotation = np.asarray(start.pose.position, float), np.asarray(start.pose.rotation, float)
    positions = np.repeat(position[None], frames, axis=0)
    rotations = np.repeat(rotation[None], frames, axis=0)
    targets = np.repeat(np.asarray(start.target, float)[None], frames, axis=0)
    if kind == "push_in":
        positions = positions + (reach * BACK * start.pose.focus_mm * (1.0 - gone))[:, None] * rotation[:, 2]
    elif kind == "slide":
        field = start.frame_mm[0] / start.optics.magnification
        positions = positions + (reach * ASIDE * field * (2.0 * gone - 1.0))[:, None] * rotation[:, 0]
    elif kind == "arc":
        turns = rotation_about("z", np.radians(reach * ROUND_DEG) * (2.0 * gone - 1.0))
        positions = targets + np.einsum("nij,nj->ni", turns, positions - targets)
        rotations = turns @ rotations
    else:
        if start.first is None:
            raise ValueError("a rack focus needs a first target")
        share = eased((time - HOLD) / (1.0 - 2.0 * HOLD))[:, None]
        targets = np.asarray(start.first, float) + share * (targets - np.asarray(start.first, float))
    found = Path(kind, positions, rotations, np.zeros(frames), targets, start.optics)
    depth = found.depths()
    if kind == "rack_focus":
        return Path(kind, positions, rotations, depth, targets, start.optics)
    aside = start.pose.focus_mm + float((start.target - position) @ rotation[:, 2])
    return Path(kind, positions, rotations, depth + aside, targets, start.optics)
