"""The second piece of ours: a hound at rest, carved in walnut with gouge and knife on a thin base. In mm, on z = 0.

Scenario: the sign of a ferryman's house, scanned once, bare, on the window sill. It looks towards -Y over its left shoulder.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import unit

from ..modelling import nets
from ..modelling.fields import Floats, Noise, box, cut, ellipsoid, joined, limb, ramp, rotation
from ..modelling.tooling import Canvas, skin, spread, stroke
from .shape import Shape

HEAD = np.array([-32.0, -5.0, 47.0])
TURN = rotation(("z", 38.0), ("y", 6.0))
"""From the head's own frame (muzzle towards -X) to the piece's: it looks round to the viewer, the chin a little down."""

EARLY, LATE = np.array([0.235, 0.150, 0.093]), np.array([0.135, 0.080, 0.048])
"""Linear albedo of walnut's early and late wood, as in `core/surface/reflectance.py`."""
RING_MM = 2.6


def hound(seed: int = 21, *, step: float = 0.55) -> Shape:
    """The carving with its tool marks and the wood's own colour. step: of the grid that it is modelled on, mm."""
    vertices, quads = nets.modelled(_field, (-54, -26, -1), (48, 26, 62), step=step, splits=2)
    canvas = Canvas(vertices, quads, seed)
    _gouged(canvas)
    _cut_details(canvas)
    skin(canvas, 0.004)
    canvas.pressed(smoothing=0)
    points = canvas.vertices - [0.0, 0.0, canvas.vertices[:, 2].min()]
    return Shape("hound", points, nets.triangles(canvas.quads), walnut(points, seed))


def walnut(points: Floats, seed: int) -> Floats:
    """(n, 3) albedo of the wood: rings round a pith below and beside the block, darker fibres along its length."""
    noise = Noise(seed + 5)
    bent = points + 1.6 * np.stack([noise(points + shift, 34.0) for shift in (0.0, 50.0, 90.0)], axis=1)
    radius = np.hypot(bent[:, 1] - 31.0, bent[:, 2] + 26.0)
    part = np.mod(radius / RING_MM + 0.1 * noise(points, 12.0), 1.0)
    late = ramp(part, 0.35, 0.9) * (1.0 - ramp(part, 0.94, 1.0))
    fibre = noise(points * (0.08, 1.0, 1.0), 0.8, octaves=2)
    tone = EARLY + (LATE - EARLY) * np.clip(late + 0.12 * fibre, 0.0, 1.0)[:, None]
    return np.clip(tone * (1.0 + 0.05 * noise(points, 20.0))[:, None], 0.02, 0.9)


# --- the form -----------------------------------------------------------------------------------------------------------


def _field(points: Floats) -> Floats:
    body = limb(points, [(-19, 0, 21), (0, 0, 18.5), (22, 0, 18)], [12.8, 10.6, 12.0], 6.0)
    body = joined(body, ellipsoid(points, (-22, 0, 20), (12.0, 11.0, 14.5)), 5.0)
    neck = limb(points, [(-23, 0, 26), (-28, -2, 36), (HEAD[0] + 3, HEAD[1] + 2, HEAD[2] - 3)], [10.0, 7.6, 6.6], 3.0)
    body = joined(body, neck, 5.0)
    for side in (-1.0, 1.0):
        body = joined(body, _hind_leg(points, side), 2.2)
        body = joined(body, _fore_leg(points, side), 1.8)
    body = joined(body, _head(points), 2.0)
    tail = limb(points, [(33, 0, 10), (41, -5, 7), (39, -14, 6.4), (27, -18.2, 6.2)], [3.6, 3.2, 2.8, 1.5], 2.0)
    body = joined(body, tail, 1.6)
    base = box(points, (-3.0, 0.0, 2.0), (48.0, 21.5, 2.0), 0.7)
    return joined(body, base, 0.7)


def _hind_leg(points: Floats, side: float) -> Floats:
    haunch = ellipsoid(points, (20.5, side * 9.0, 14.5), (13.0, 6.6, 11.5), rotation(("y", 14.0)))
    foot = limb(points, [(30, side * 12.5, 7.5), (16, side * 15.4, 6.4), (5, side * 15.6, 6.2)], [4.6, 4.0, 3.4], 2.0)
    toes = ellipsoid(points, (3.5, side * 15.6, 6.2), (4.6, 3.9, 2.7))
    return joined(joined(haunch, foot, 2.0), toes, 1.2)


def _fore_leg(points: Floats, side: float) -> Floats:
    path = [(-22, side * 8.5, 19), (-23, side * 11.0, 9.5), (-42, side * 9.5, 7.0)]
    leg = limb(points, path, [6.4, 4.8, 3.5], 2.0)
    paw = ellipsoid(points, (-45.0, side * 9.5, 6.3), (5.4, 4.2, 2.9))
    return joined(leg, paw, 1.4)


def _head(points: Floats) -> Floats:
    local = (points - HEAD) @ TURN
    skull = ellipsoid(local, (0.5, 0, 0), (8.6, 6.7, 6.9))
    muzzle = limb(local, [(-4.5, 0, -1.6), (-15.0, 0, -4.0)], [5.2, 3.1], 1.0)
    found = joined(skull, muzzle, 3.0)
    jaw = limb(local, [(-3.0, 0, -5.0), (-13.0, 0, -6.4)], [3.6, 2.0], 1.0)
    found = joined(found, jaw, 1.2)
    for side in (-1.0, 1.0):
        found = joined(found, ellipsoid(local, (-5.2, side * 3.1, 2.5), (3.0, 2.2, 1.5)), 1.4)  # the brow
        socket = ellipsoid(local, (-8.0, side * 4.3, 0.9), (2.1, 1.5, 1.2))
        found = cut(found, socket, 0.5)
        found = joined(found, ellipsoid(local, (-6.6, side * 3.5, 0.8), (1.25, 1.1, 0.95)), 0.12)  # the eye
        ear = ellipsoid(local, (1.8, side * 7.3, -3.4), (4.4, 1.5, 8.0), rotation(("x", side * 8.0), ("y", -12.0)))
        found = joined(found, ear, 0.5)
    nose = ellipsoid(local, (-17.3, 0, -3.2), (1.7, 2.1, 1.6))
    found = joined(found, nose, 0.4)
    mouth = box(local, (-12.5, 0, -5.6), (6.5, 6.0, 0.28), 0.1, rotation(("y", -13.0)))
    return cut(found, mouth, 0.3)


# --- what the tools leave -----------------------------------------------------------------------------------------------


def _gouged(canvas: Canvas) -> None:
    """Shallow scallops of a gouge that followed the form; smaller about the head, none on the eyes and the nose."""
    rng = canvas.rng
    local = (canvas.vertices - HEAD) @ TURN
    fine = np.exp(-np.square(np.linalg.norm(local + [5.0, 0.0, 1.0], axis=1) / 15.0))
    spared = _spared(local)
    level = np.zeros(len(canvas.vertices))
    for place in spread(canvas, np.flatnonzero(canvas.normals[:, 2] > -0.5), 3.1 - 1.5 * fine):
        if spared[place]:
            continue
        normal, small = canvas.normals[place], fine[place]
        along = unit(np.array([1.0, 0.0, -0.25])) if canvas.vertices[place, 0] > -20 else np.array([0.3, 0.2, -1.0])
        way = unit(along - (along @ normal) * normal + 0.22 * rng.normal(size=3))
        length, width = rng.uniform(5.0, 9.0) * (1 - 0.55 * small), rng.uniform(2.4, 3.8) * (1 - 0.5 * small)
        index, forward, across = canvas.patch(canvas.vertices[place], way, 0.8 * length, facing=0.72)
        bowl = np.square(across / (0.5 * width)) + np.square(forward / (0.5 * length))
        level[index] = np.minimum(level[index], rng.uniform(0.10, 0.20) * (1 - 0.5 * small) * (bowl - 1.0))
    canvas.height += np.where(spared, 0.0, np.maximum(level, -0.25))


def _spared(local: Floats) -> Any:
    """(n,) where the gouge did not go: the eyes and the nose."""
    eyes = [np.linalg.norm(local - [-6.6, side * 3.5, 0.8], axis=1) < 1.9 for side in (-1.0, 1.0)]
    return eyes[0] | eyes[1] | (np.linalg.norm(local - [-17.3, 0.0, -3.2], axis=1) < 2.4)


def _cut_details(canvas: Canvas) -> None:
    """Knife work: toes, the folds of the ears, hair on neck, chest and tail."""
    for side in (-1.0, 1.0):
        for spot, reach in (((-47.5, side * 9.5, 7.6), 5.0), ((1.8, side * 15.6, 7.4), 4.4)):
            for off in (-1.6, 0.0, 1.6):
                start = np.array(spot) + [2.4, off, 0.0]
                stroke(canvas, start, np.array([-1.0, 0.12 * off, -0.45]), length=reach, width=0.7, depth=0.45)
        root = HEAD + TURN @ np.array([0.5, side * 8.6, 2.0])
        down = TURN @ np.array([0.1, side * 0.05, -1.0])
        for off in (-2.0, -0.6, 0.9, 2.2):
            start = root + TURN @ np.array([off, 0.0, 0.0])
            stroke(canvas, start, down, length=8.5, width=0.6, depth=0.22, bow=0.5 * off)
    _hair(canvas, (-26.0, 0.0, 33.0), (9.0, 9.0, 9.0), np.array([0.35, 0.1, -1.0]), 150)
    _hair(canvas, (-30.0, 0.0, 20.0), (6.0, 9.0, 9.0), np.array([-0.2, 0.0, -1.0]), 90)
    _hair(canvas, (36.0, -10.0, 7.5), (8.0, 9.0, 4.0), np.array([-0.5, -0.8, 0.0]), 60)


def _hair(canvas: Canvas, centre: Any, radii: Any, way: Floats, count: int) -> None:
    """Short V cuts that lie like hair within an ellipsoid."""
    rng = canvas.rng
    inside = np.flatnonzero(np.linalg.norm((canvas.vertices - centre) / radii, axis=1) < 1.0)
    for place in inside[rng.choice(len(inside), min(count, len(inside)), replace=False)] if len(inside) else []:
        normal = canvas.normals[place]
        lie = way - (way @ normal) * normal + 0.18 * rng.normal(size=3)
        stroke(
            canvas, canvas.vertices[place], unit(lie), length=rng.uniform(2.2, 5.0), width=rng.uniform(0.28, 0.55),
            depth=rng.uniform(0.08, 0.2), bow=rng.normal(0.0, 0.25),
        )  # fmt: skip
