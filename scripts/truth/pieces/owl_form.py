"""The barn owl's form: a field in space with its feet on z = 0, looking towards -Y, 80 mm high before the last scaling."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from ..modelling.fields import Floats, both, box, cut, ellipsoid, joined, limb, ramp, rotation, taper

HEAD = np.array([0.9, -3.2, 64.5])
TURN = rotation(("z", -13.0), ("y", 5.0), ("x", 6.0))
"""From the head's own frame (face towards -Y) to the piece's: a glance to one side, a little tilted, chin drawn in."""
EYES = np.array([[-5.1, -11.3, 2.5], [4.9, -11.4, 2.1]])
FEET = np.array([[-7.6, -5.6, 0.0], [7.1, -3.6, 0.0]])


@dataclass(frozen=True)
class Wing:
    """A folded wing: from shoulder to tip; `out` is the side that shows."""

    shoulder: Any
    tip: Any
    out: Any

    def frame(self) -> Floats:
        """(3, 3) rows: along, across (towards the breast), out."""
        along = (self.tip - self.shoulder) / np.linalg.norm(self.tip - self.shoulder)
        out = self.out - (self.out @ along) * along
        out /= np.linalg.norm(out)
        return np.stack([along, np.cross(out, along), out])

    @property
    def length(self) -> float:
        return float(np.linalg.norm(self.tip - self.shoulder))

    def local(self, points: Floats) -> Floats:
        """(n, 3) along, across, out, in mm from the shoulder."""
        return (points - self.shoulder) @ self.frame().T

    def distance(self, points: Floats) -> Floats:
        """(n,) rough distance: an ellipse swept from shoulder to tip, broad at a third, pointed at the end."""
        along, across, out = self.local(points).T
        share = np.clip(along / self.length, 0.0, 1.0)
        width = 10.2 * np.sqrt(np.maximum(1.0 - ((share - 0.30) / 0.74) ** 2, 0.02)) + 0.4
        thick = 4.3 * np.sqrt(np.maximum(1.0 - ((share - 0.22) / 0.86) ** 2, 0.03)) + 0.3
        bow = out - 2.2 * np.sin(np.pi * share) + 0.012 * across**2
        beyond = np.maximum(np.abs(along - 0.5 * self.length) - 0.5 * self.length, 0.0)
        ring = np.sqrt((across / width) ** 2 + (bow / thick) ** 2 + (beyond / thick) ** 2)
        return (ring - 1.0) * thick * np.where(np.abs(across) > 0.8 * width, 1.25, 1.0)


WINGS = (
    Wing(np.array([-14.2, -2.0, 50.5]), np.array([-4.6, 17.0, 8.5]), np.array([-1.0, 0.18, 0.22])),
    Wing(np.array([14.0, -1.2, 49.6]), np.array([5.4, 17.6, 6.5]), np.array([1.0, 0.22, 0.20])),
)


def head_local(points: Floats) -> Floats:
    """(n, 3) points in the head's own frame."""
    return (points - HEAD) @ TURN


def heart(local: Floats) -> Floats:
    """(n,) signed distance in the plane of the face to the outline of the heart-shaped disc, negative inside."""
    flat = local[:, [0, 2]]
    lobes = []
    for side, breadth in ((-1.0, 7.5), (1.0, 7.3)):
        start, end = np.array([side * 5.3, 3.2]), np.array([0.2, -10.2])
        axis = end - start
        along = np.clip((flat - start) @ axis / (axis @ axis), 0.0, 1.0)
        lobes.append(np.linalg.norm(flat - start - along[:, None] * axis, axis=1) - (breadth - (breadth - 2.4) * along))
    return joined(lobes[0], lobes[1], 1.2)


def head(points: Floats) -> Floats:
    """(n,) distance to the head: skull, dished face with its rim, brow, eyes in their lids, beak."""
    local = head_local(points)
    skull = joined(
        ellipsoid(local, (0, 0.6, 1.6), (15.6, 13.2, 13.6)), ellipsoid(local, (0, -3.0, -5.5), (11.0, 9.4, 8.5)), 6.0
    )
    edge = heart(local)
    front = ramp(-local[:, 1], 1.0, 6.0)
    dish = 2.3 * ramp(-edge, -0.3, 3.4) * front
    rim = 1.5 * np.exp(-(((edge - 0.5) / 1.0) ** 2)) * front
    inside = ramp(-edge, 0.0, 2.0) * front
    bridge = (
        2.4
        * np.exp(-(((local[:, 0] - 0.1) / (1.5 + 0.06 * np.maximum(local[:, 2], 0.0))) ** 2))
        * inside
        * ramp(local[:, 2], -7.0, -1.0)
    )
    found = skull + dish - rim - bridge
    for eye, (wide, high) in zip(EYES, ((2.45, 2.05), (2.4, 2.2)), strict=True):
        side = np.sign(eye[0])
        slant = rotation(("y", side * 26.0))
        found = cut(found, ellipsoid(local, eye + (0, -1.4, 0), (wide + 0.9, 2.4, high + 0.8), slant), 1.0)
        lid = ellipsoid(local, eye + (0, 0.9, 0), (wide + 0.7, 2.3, high + 0.65), slant)
        slit = ellipsoid(local, eye + (side * 0.15, -1.3, -0.3), (wide + 0.05, 2.4, high - 0.35), slant)
        found = joined(found, cut(lid, slit, 0.4), 0.6)
        ball = ellipsoid(local, eye + (0, 0.85, -0.1), (wide + 0.2, 2.15, high + 0.2))
        pupil = ellipsoid(local, eye + (-0.25 * side, -1.55, -0.25), (0.85, 1.1, 0.92))
        found = joined(found, cut(ball, pupil, 0.3), 0.2)
    beak = limb(local, [[0.1, -12.0, -1.0], [0.15, -13.8, -3.6], [0.25, -13.9, -6.6]], [1.5, 1.75, 0.55], 1.2)
    return joined(found, beak, 0.6)


def torso(points: Floats) -> Floats:
    """(n,) distance to breast, belly, back and shoulders."""
    breast = ellipsoid(points, (0.3, -3.2, 43.0), (16.0, 13.0, 17.0))
    belly = ellipsoid(points, (-0.2, -1.2, 27.0), (14.2, 12.4, 16.5))
    back = taper(points, (0.0, 4.6, 45.0), (0.4, 11.6, 17.0), 11.4, 6.4)
    neck = ellipsoid(points, (0.5, -1.5, 56.0), (12.2, 11.0, 9.0))
    found = joined(joined(joined(breast, belly, 7.0), back, 6.0), neck, 5.0)
    for side in (-1.0, 1.0):
        found = joined(found, ellipsoid(points, (side * 11.5, -0.6, 49.0), (6.6, 7.6, 8.0)), 4.0)
    return found


def tail(points: Floats) -> Floats:
    """(n,) distance to the tail, a thin wedge that props the owl from behind."""
    turn = rotation(("x", 16.0))
    return box(points, (0.5, 15.6, 9.6), (6.6, 1.9, 10.2), 1.7, turn)


def legs(points: Floats) -> Floats:
    """(n,) distance to the feathered legs and the feet with their claws."""
    found = None
    for foot, hip in zip(FEET, ([-6.8, -2.6, 17.0], [6.6, -1.6, 16.5]), strict=True):
        leg = limb(points, [hip, foot + (0.2, 1.2, 9.0), foot + (0.0, 1.6, 3.6)], [7.4, 5.2, 3.5], 3.0)
        for angle, reach in ((-34.0, 7.0), (-3.0, 8.2), (29.0, 7.2), (168.0, 4.2)):
            way = rotation(("z", angle + 4.0 * np.sign(foot[0]))) @ np.array([0.0, -1.0, 0.0])
            up = np.array([0.0, 0.0, 1.0])
            path = [foot + 1.5 * way + 3.0 * up, foot + 0.62 * reach * way + 2.5 * up, foot + reach * way + 1.1 * up]
            toe = limb(points, path, [2.1, 1.75, 1.45], 0.9)
            ball = ellipsoid(points, foot + 0.66 * reach * way + 2.5 * up, (1.9, 1.9, 1.75))
            claw = limb(
                points,
                [foot + reach * way + 1.5 * up, foot + (reach + 1.9) * way + 1.35 * up, foot + (reach + 3.1) * way - 0.1 * up],
                [1.15, 0.85, 0.3],
                0.5,
            )
            leg = joined(leg, joined(joined(toe, ball, 0.8), claw, 0.35), 1.2)
        found = leg if found is None else joined(found, leg, 2.2)
    return found


def parts(points: Floats) -> dict[str, Floats]:
    """Distances (n,) to each part alone, to know what a point belongs to."""
    return {
        "head": head(points),
        "torso": torso(points),
        "left": WINGS[0].distance(points),
        "right": WINGS[1].distance(points),
        "tail": tail(points),
        "legs": legs(points),
    }


def owl(points: Floats) -> Floats:
    """(n,) distance to the whole owl, leaning a little as things made by hand do."""
    points = unleaned(points)
    found = joined(torso(points), head(points), 2.6)
    found = joined(found, tail(points), 2.5)
    for wing in WINGS:
        found = joined(found, wing.distance(points), 1.1)
    found = joined(found, legs(points), 1.6)
    ground = -points[:, 2] + 0.0
    return both(found, ground, 0.4)


def unleaned(points: Floats) -> Floats:
    """The points before the lean: the higher, the more it goes to the left and forwards."""
    height = np.maximum(points[:, 2:], 0.0)
    return points - height * np.array([[-0.028, -0.022, 0.0]]) - 1e-4 * height**2 * np.array([[1.0, -0.4, 0.0]])
