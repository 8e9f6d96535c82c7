"""In which pose does a piece without a flat base come to rest? It rolls until its centre of mass can sink no further.

On each facet of the convex hull the height of the centre of mass is its distance from the facet; a facet where that is least
among its neighbours has the centre above itself and is stable (Goldberg et al., *Part pose statistics*,
IEEE Trans. Robotics and Automation 15, 1999).
"""

from __future__ import annotations

import numpy as np

from ..arrays import Floats, Ints
from ..mesh.triangles import face_crosses, unit

STEP_DEG = 8.0
"""Largest single tilt, so that small bumps on a round underside do not stop it."""


def settled(points: Floats, triangles: Ints, mass: Floats, down: Floats) -> tuple[Floats, Floats]:
    """Let a piece that lies with `down` (3,) below roll until it rests.

    points (n, 3) and triangles (m, 3) of its convex hull, looking outwards; mass (3,) its centre of mass.
    Returns the downward unit normal (3,) and a point (3,) of the facet that it rests on.
    """
    crosses = face_crosses(points, triangles)
    size = np.linalg.norm(crosses, axis=1)
    sound = size > 1e-9 * size.max()
    normals, corners = unit(crosses[sound]), points[triangles[sound]]
    height = ((corners[:, 0] - mass) * normals).sum(axis=1)
    here = int(np.argmax(normals @ down))
    while True:
        near = np.flatnonzero(normals @ normals[here] > np.cos(np.radians(STEP_DEG)))
        lowest = int(near[np.argmin(height[near])])
        if height[lowest] >= height[here] - 1e-12:
            return normals[here], corners[here, 0]
        here = lowest
