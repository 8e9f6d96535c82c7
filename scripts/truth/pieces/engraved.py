"""A bench shape for textures of 0.025 mm a texel: a small dome with marks from a modelling tool's to an engraver's point."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from blender_addon.core.mesh.triangles import unit

from ..modelling import nets
from ..modelling.fields import Floats, Noise, both, ellipsoid
from ..modelling.tooling import Canvas, skin, spread, stroke
from .shape import Shape

LARGER = 7.5
"""It is modelled and lit so much larger than it is, at the spacing of 0.15 that the makers and the light's transport expect."""
RADIUS_MM = 7.0
FINEST_MM, BROADEST_MM = 0.05, 1.4
"""Widths of the marks. Vertices are 0.02 mm apart: five on the wave that a mark of 0.05 mm and the burrs beside it make."""


def engraved(seed: int = 7) -> Shape:
    """A dome of 14 mm, in mm, on z = 0: single strokes of all widths, and hatching of 0.1 to 0.3 mm from line to line."""
    large = _modelled(seed)
    return replace(large, vertices=large.vertices / LARGER)


def _modelled(seed: int) -> Shape:
    wander, radius = Noise(seed + 700), LARGER * RADIUS_MM

    def field(points: Floats) -> Floats:
        body = ellipsoid(points, (0, 0, 3.0), (radius, 0.9 * radius, 0.95 * radius))
        return both(body + 1.9 * wander(points, 68.0), -points[:, 2], 3.75)

    reach = radius + 6.0
    vertices, quads = nets.modelled(field, (-reach, -reach, -3), (reach, reach, reach), step=0.6, splits=2)
    canvas = Canvas(vertices, quads, seed + 701)
    _strokes(canvas)
    _hatched(canvas)
    skin(canvas, 0.012)
    canvas.pressed(smoothing=0)
    points = canvas.vertices - [0, 0, canvas.vertices[:, 2].min()]
    return Shape("engraved", points, nets.triangles(canvas.quads), np.full((len(points), 3), 0.5))


def _strokes(canvas: Canvas) -> None:
    """Single strokes whose widths are even on a logarithmic scale, the broad ones first."""
    rng = canvas.rng
    for width in LARGER * np.geomspace(BROADEST_MM, FINEST_MM, 12):
        for vertex in spread(canvas, np.flatnonzero(canvas.vertices[:, 2] > 6.0), max(4.0 * width, 3.0)):
            way = unit(np.cross(canvas.normals[vertex], rng.normal(size=3)))
            length, depth = rng.uniform(4.0, 9.0) * width, rng.uniform(0.08, 0.16) * width
            stroke(canvas, canvas.vertices[vertex], way, length=max(length, 4.5), width=width, depth=depth)


def _hatched(canvas: Canvas) -> None:
    """Areas of parallel lines, as an engraver shades: each line half as wide as the way to the next."""
    rng = canvas.rng
    for vertex in spread(canvas, np.flatnonzero(canvas.vertices[:, 2] > 7.5), 9.0):
        normal = canvas.normals[vertex]
        way = unit(np.cross(normal, rng.normal(size=3)))
        side, pitch = np.cross(normal, way), LARGER * np.exp(rng.uniform(np.log(0.1), np.log(0.3)))
        length = LARGER * rng.uniform(0.8, 1.6)
        for number in range(int(rng.integers(5, 10))):
            start = canvas.vertices[vertex] + number * pitch * side
            stroke(canvas, start, way, length=length, width=0.5 * pitch, depth=0.12 * pitch)
