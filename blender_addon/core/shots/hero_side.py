"""From which side of the front is the hero taken? From the usual one, unless an arm or a spear hides the face from there."""

from __future__ import annotations

import numpy as np

from ..arrays import Floats
from .framing import look
from .subject import Subject
from .visible import visible

FACE_REACH = 0.12
"""Radius about a spot on the face that counts as the face, over the height of the subject (a guess)."""
TOWARDS_FRONT = 0.2
"""Least part of a normal towards the front, of what is the face rather than the back of the head."""
CLEARLY = 0.1
"""Share of the face by which the other side must show more (a guess): a face that is alike from both is seen from the usual."""
DISTANCE = 5.0
"""Distance of the camera over the height of the subject: about that of a macro lens. How far does hardly matter."""


def clearer_side(subject: Subject, face: Floats, azimuth_deg: float, tilt_deg: float) -> float:
    """The azimuth, degrees, `azimuth_deg` or its mirror image in the front, from which clearly more of the face can be seen.

    face: (3,) mm, a spot on it.
    """
    near = np.linalg.norm(subject.points - face, axis=1) < FACE_REACH * subject.height
    near &= subject.normals[:, 1] < -TOWARDS_FRONT
    if not near.any():
        return azimuth_deg
    shown = {}
    for azimuth in (azimuth_deg, -azimuth_deg):
        rotation = look(azimuth, tilt_deg)
        position = subject.middle + DISTANCE * max(subject.height, subject.width) * rotation[:, 2]
        shown[azimuth] = float(visible(subject.points, subject.normals, position=position, rotation=rotation)[near].mean())
    return -azimuth_deg if shown[-azimuth_deg] > shown[azimuth_deg] + CLEARLY else azimuth_deg
