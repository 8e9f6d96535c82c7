"""Made-up subjects, a piece on a stand each, to measure registration and separation on: known parts and colours, in mm.

Each is given as two signed distances, so that the scan of the whole, the stand alone and the label of each face all come
from one truth: a face belongs to the piece where the piece is the nearer of the two.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from ..modelling.fields import Noise, box, cut, ellipsoid, joined, limb, ramp, rotation
from ..modelling.nets import drawn_onto, relaxed, sampled, surface_nets, triangles

Floats = Any
Field = Callable[[Floats], Floats]


@dataclass(frozen=True)
class Subject:
    """A piece and its stand (None: it has none) as distances; paint: points (n, 3) to linear colour (n, 3); fillet in mm."""

    name: str
    piece: Field
    stand: Field | None
    paint: Field
    fillet: float = 0.5

    def whole(self, points: Floats) -> Floats:
        """(n,) distance to piece and stand grown together."""
        if self.stand is None:
            return self.piece(points)
        return joined(self.piece(points), self.stand(points), self.fillet)

    def is_piece(self, points: Floats) -> Floats:
        """(n,) bool, whether a point on the surface is the piece's."""
        if self.stand is None:
            return np.ones(len(points), bool)
        return self.piece(points) < self.stand(points)


def meshed(
    field: Field, step: float, *, turn: Floats | None = None, low: float = -62.0, high: float = 112.0
) -> tuple[Floats, Any]:
    """(n, 3) vertices and (m, 3) triangles of a field's zero, on a grid that is turned by `turn` (another triangulation)."""
    frame = np.eye(3) if turn is None else turn
    middle = np.array([0.0, 0.0, 0.5 * (low + high) - 0.0])

    def turned(points: Floats) -> Floats:
        return field(points @ frame.T + middle)

    half = 0.5 * (high - low)
    values, origin = sampled(turned, (-half,) * 3, (half,) * 3, step)
    vertices, quads = surface_nets(values, origin, step)
    vertices = drawn_onto(turned, relaxed(vertices, quads), rounds=2)
    return vertices @ frame.T + middle, triangles(quads)


def _figure(points: Floats, base: float, height: float, seed: int) -> Floats:
    """A squat animal with a head, a beak and two feet, rising from `base` by `height`."""
    local = (points - [0.0, 0.0, base]) * (50.0 / height)
    noise = Noise(seed)
    body = ellipsoid(local, (0, 0, 20), (13, 11, 21))
    head = ellipsoid(local, (1.5, -3, 42), (9, 9, 8.5))
    beak = limb(local, np.array([[1.5, -11, 42], [1.5, -15, 40]]), np.array([2.2, 0.9]))
    feet = np.minimum(ellipsoid(local, (-6, -9, 1.5), (4, 7, 3)), ellipsoid(local, (6.5, -8, 1.5), (4, 7, 3)))
    tail = limb(local, np.array([[0, 9, 8], [3, 20, 3]]), np.array([5.0, 2.5]))
    shape = joined(joined(joined(body, head, 4.0), feet, 1.0), np.minimum(beak, tail), 2.0)
    return (shape + 0.35 * noise(local, 7.0, octaves=2)) * (height / 50.0)


def patterned(seed: int, ground: Floats, spots: Floats, other: Floats) -> Callable[[Floats], Floats]:
    """A speckled stone's colour."""
    noise = Noise(seed)

    def paint(points: Floats) -> Floats:
        patchy = ramp(noise(points, 9.0, octaves=2), 0.3, 0.6)[:, None]
        two = ramp(noise(points + 91.0, 4.0), 0.7, 1.0)[:, None]
        colour = np.asarray(ground) * (1 - patchy) + np.asarray(spots) * patchy
        return colour * (1 - two) + np.asarray(other) * two

    return paint


def figure_on(stand: Field, points: Floats, *, top: float = 8.2, height: float = 60.0) -> Floats:
    """Distance to a figure grown together with a stand whose top is level."""
    return joined(_figure(points + [2.0, 3.0, 0.0], top, height, 4), stand(points), 0.5)


def _painted(piece: Field, stand: Field | None, piece_colour: Floats, stand_paint: Field) -> Field:
    def paint(points: Floats) -> Floats:
        colour = np.broadcast_to(np.asarray(piece_colour, float), (len(points), 3))
        if stand is None:
            return colour.copy()
        return np.where((piece(points) < stand(points))[:, None], colour, stand_paint(points))

    return paint


def _slab(points: Floats) -> Floats:
    noise = Noise(3)
    plain = box(points, (1, 2, 6.5), (40, 28, 6.5), 1.0)
    chip = ellipsoid(points, (38, -24, 12), (7, 5, 4))
    return cut(plain, chip, 0.6) + 0.12 * noise(points, 8.0, octaves=2)


def _broken(points: Floats) -> Floats:
    noise = Noise(5)
    angles = np.radians([10, 75, 140, 205, 275, 330])
    reach = np.array([36, 27, 31, 40, 24, 33])
    sides = np.stack([points[:, 0] * np.cos(a) + points[:, 1] * np.sin(a) - r for a, r in zip(angles, reach, strict=True)])
    prism = sides.max(axis=0) + 0.9 * noise(points, 9.0, octaves=3)
    top = (points @ rotation(("x", 3.0), ("y", -2.0))[:, 2]) - 11.0 + 0.5 * noise(points + 50, 12.0, octaves=3)
    out = np.stack([prism, top, -points[:, 2]])
    return np.linalg.norm(np.maximum(out + 0.8, 0), axis=0) + np.minimum(out.max(axis=0), -0.8) * 1.0


def _disc(points: Floats) -> Floats:
    round_ = np.hypot(points[:, 0], points[:, 1]) - 36.0
    level = np.abs(points[:, 2] - 4.5) - 4.5
    out = np.stack([round_, level])
    return np.linalg.norm(np.maximum(out + 1.0, 0), axis=0) + np.minimum(out.max(axis=0) + 1.0, 0) - 1.0


def _plinth(points: Floats) -> Floats:
    body = box(points, (0, 0, 12), (22, 22, 12), 0.6)
    foot = box(points, (0, 0, 2.5), (26, 26, 2.5), 0.6)
    rim = box(points, (0, 0, 22), (24.5, 24.5, 2.0), 0.6)
    shape = joined(joined(body, foot, 0.8), rim, 0.8)
    carved = limb(
        points, np.array([[-14, -22.5, 8], [-4, -22.5, 16], [6, -22.5, 9], [13, -22.5, 15]], float), np.array([1.6] * 4)
    )
    corner = ellipsoid(points, (23, 23, 24), (5, 4, 5))
    return cut(cut(shape, carved, 0.5), corner, 0.5)


def _stone(points: Floats) -> Floats:
    noise = Noise(11)
    shape = ellipsoid(points, (2, 1, 9), (40, 27, 16))
    under = -(points[:, 2] - 1.5) + 1.2 * noise(points + 30, 14.0, octaves=2)
    return np.maximum(shape + 2.6 * noise(points, 22.0, octaves=4), under)


def _turntable_figure(points: Floats) -> Floats:
    flat = -(points[:, 2] - 0.0)
    return np.maximum(_figure(points, -1.5, 78.0, 21), flat)


STONE = patterned(31, (0.42, 0.40, 0.36), (0.18, 0.15, 0.13), (0.62, 0.58, 0.52))
TERRAZZO = patterned(37, (0.55, 0.52, 0.47), (0.33, 0.12, 0.08), (0.08, 0.16, 0.14))
OAK = patterned(41, (0.35, 0.20, 0.10), (0.22, 0.12, 0.06), (0.30, 0.18, 0.09))
CLAY = (0.45, 0.24, 0.15)


def _made(name: str, piece: Field, stand: Field | None, ground: Field, fillet: float = 0.5) -> Subject:
    return Subject(name, piece, stand, _painted(piece, stand, CLAY, ground), fillet)


def subjects() -> dict[str, Subject]:
    """All of them, by name."""
    found = [
        _made("slab", lambda p: _figure(p + [6.0, -3.0, 0], 12.2, 55.0, 1), _slab, STONE),
        _made("broken", lambda p: _figure((p - [2.0, 1.0, 0]) @ rotation(("z", 30)), 9.6, 62.0, 2), _broken, STONE, 0.8),
        _made("disc", lambda p: _figure(p + [0, 3.0, 0], 8.2, 66.0, 4), _disc, TERRAZZO),
        _made("plinth", lambda p: _figure((p + [0, -1.0, 0]) @ rotation(("z", -12)), 23.2, 44.0, 6), _plinth, OAK),
        _made("stone", lambda p: _figure((p - [3.0, 0, 0]) @ rotation(("z", 75)), 20.5, 52.0, 8), _stone, STONE, 1.0),
        _made("bare", _turntable_figure, None, STONE),
    ]
    return {subject.name: subject for subject in found}
