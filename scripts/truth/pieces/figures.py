"""Made-up things of the kinds that get scanned, to ask of which way is up and where the front is: z up, front towards -Y, mm.

People, animals, heads, vessels; half of them on a stand. They are coarse on purpose (what decides is form, not tooling) and
were not looked at while constants were set: they are there to check, not to fit.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from blender_addon.core.mesh.topology import submesh
from blender_addon.core.mesh.triangles import TriangleMesh, face_normals

from ..modelling.fields import Noise, both, box, cut, ellipsoid, joined, limb, rotation, taper
from ..modelling.nets import drawn_onto, relaxed, sampled, surface_nets, triangles

Floats = Any
Field = Callable[[Floats], Floats]
STEP_MM = 1.3
NOISE_MM = 0.16
"""Spread of a phone scan's vertices about the surface, on a piece of this size (common practice: 0.1 to 0.3 mm)."""


@dataclass(frozen=True)
class Figure:
    """One made-up thing: its field, its box (low, high) in mm, whether it has a stand and at what height that ends, whether
    its underside is missing from the scan, and whether it has a front at all."""

    name: str
    field: Field
    low: tuple[float, float, float]
    high: tuple[float, float, float]
    stand_top: float | None = None
    open_bottom: bool = False
    front: bool = True


def scanned(figure: Figure, seed: int = 1) -> TriangleMesh:
    """A noisy scan of a figure in mm, its underside missing where it is `open_bottom`."""
    clean = _clean(figure.name)
    random = np.random.default_rng([seed, *figure.name.encode()])
    vertices = clean.vertices + random.normal(0.0, NOISE_MM, clean.vertices.shape)
    mesh = TriangleMesh(vertices, clean.faces)
    if figure.open_bottom:
        below = (clean.vertices[clean.faces][..., 2].max(axis=1) < 0.9) & (
            face_normals(clean.vertices, clean.faces)[:, 2] < -0.5
        )
        mesh = submesh(mesh, ~below)
    return mesh


@lru_cache(maxsize=32)
def _clean(name: str) -> TriangleMesh:
    figure = next(candidate for candidate in figures() if candidate.name == name)
    values, origin = sampled(figure.field, np.array(figure.low) - 3.0, np.array(figure.high) + 3.0, STEP_MM)
    vertices, quads = surface_nets(values, origin, STEP_MM)
    vertices = drawn_onto(figure.field, relaxed(vertices, quads), rounds=2)
    return TriangleMesh(vertices, triangles(quads))


# --- parts ----------------------------------------------------------------------------------------------------------------


def _head(points: Floats, centre: tuple[float, float, float], size: float, noise: Noise, *, hair: float = 1.0) -> Floats:
    """A human head looking to -Y, `size` its height: skull, jaw, nose, brows, eye sockets, mouth, and hair behind."""
    p = (points - np.asarray(centre, float)) / size
    skull = joined(ellipsoid(p, (0, 0.04, 0.08), (0.36, 0.43, 0.40)), ellipsoid(p, (0, -0.10, -0.22), (0.25, 0.26, 0.28)), 0.12)
    nose = taper(p, (0, -0.40, 0.06), (0, -0.50, -0.10), 0.035, 0.065)
    brow = limb(p, [(-0.22, -0.33, 0.10), (0, -0.41, 0.11), (0.22, -0.33, 0.10)], [0.05, 0.055, 0.05], 0.05)
    face = joined(joined(skull, nose, 0.06), brow, 0.06)
    for side in (-1.0, 1.0):
        face = cut(face, ellipsoid(p, (0.14 * side, -0.43, 0.02), (0.09, 0.10, 0.055)), 0.03)
        face = joined(face, ellipsoid(p, (0.14 * side, -0.335, 0.02), (0.055, 0.055, 0.045)), 0.01)
        face = joined(face, ellipsoid(p, (0.37 * side, 0.02, -0.02), (0.04, 0.08, 0.12)), 0.03)
    face = cut(face, ellipsoid(p, (0, -0.40, -0.26), (0.11, 0.08, 0.018)), 0.015)
    face = joined(face, ellipsoid(p, (0, -0.31, -0.40), (0.09, 0.07, 0.07)), 0.05)
    curls = ellipsoid(p, (0, 0.10, 0.14), (0.40, 0.44, 0.42)) - 0.018 * hair * noise(p, 0.16)
    curls = both(curls, -(p[:, 1] + 0.16 + 0.35 * (0.1 - p[:, 2])), 0.04)
    return size * joined(face, curls, 0.03)


def _standing_person(points: Floats, floor: float, tall: float, noise: Noise) -> Floats:
    """A draped person: feet to the front, one arm bent before the chest, weight on one leg."""
    p = (points - np.array([0.0, 0.0, floor])) / tall
    skirt = limb(p, [(0, 0.01, 0.02), (0.005, 0.0, 0.30), (0.01, 0.0, 0.52)], [0.115, 0.10, 0.085], 0.05)
    angle = np.arctan2(p[:, 1], p[:, 0])
    skirt = both(skirt + 0.008 * np.sin(11.0 * angle + 9.0 * p[:, 2] + 1.5 * np.sin(3 * angle)), -p[:, 2], 0.01)
    torso = joined(
        ellipsoid(p, (0.01, 0.0, 0.60), (0.105, 0.075, 0.13)), ellipsoid(p, (0.005, 0.005, 0.73), (0.125, 0.075, 0.08)), 0.05
    )
    for side in (-1.0, 1.0):
        torso = joined(torso, ellipsoid(p, (0.05 * side, -0.065, 0.70), (0.04, 0.04, 0.042)), 0.02)
        foot = taper(p, (0.045 * side, -0.02, 0.02), (0.055 * side, -0.135, 0.012), 0.032, 0.022)
        skirt = joined(skirt, foot, 0.02)
    right = limb(p, [(-0.125, 0.0, 0.775), (-0.16, 0.0, 0.60), (-0.04, -0.115, 0.64)], [0.036, 0.032, 0.024], 0.03)
    left = limb(p, [(0.13, 0.0, 0.775), (0.17, 0.02, 0.60), (0.16, -0.03, 0.44)], [0.036, 0.032, 0.024], 0.03)
    neck = taper(p, (0, 0.0, 0.78), (0, -0.01, 0.87), 0.036, 0.034)
    body = joined(joined(joined(joined(skirt, torso, 0.05), right, 0.025), left, 0.025), neck, 0.03)
    head = _head(points, (0.0, -0.012 * tall, floor + 0.925 * tall), 0.145 * tall, noise) / tall
    return tall * joined(body, head, 0.02)


def _sitting_person(points: Floats, floor: float, tall: float, noise: Noise) -> Floats:
    """A person on a block, thighs and shins to the front."""
    p = (points - np.array([0.0, 0.0, floor])) / tall
    seat = box(p, (0, 0.08, 0.19), (0.20, 0.17, 0.19), 0.01)
    torso = limb(p, [(0, 0.06, 0.42), (0, 0.08, 0.58), (0, 0.06, 0.74)], [0.11, 0.10, 0.12], 0.06)
    body = joined(seat, torso, 0.02)
    for side in (-1.0, 1.0):
        leg = limb(
            p, [(0.08 * side, 0.03, 0.43), (0.10 * side, -0.26, 0.42), (0.09 * side, -0.24, 0.05), (0.10 * side, -0.36, 0.03)],
            [0.075, 0.06, 0.04, 0.03], 0.03,
        )  # fmt: skip
        arm = limb(
            p, [(0.15 * side, 0.05, 0.76), (0.20 * side, 0.03, 0.58), (0.10 * side, -0.20, 0.50)], [0.045, 0.038, 0.03], 0.03
        )
        body = joined(joined(body, leg, 0.03), arm, 0.02)
    body = joined(body, taper(p, (0, 0.05, 0.78), (0, 0.03, 0.88), 0.045, 0.04), 0.03)
    body = both(body, -p[:, 2], 0.005)
    head = _head(points, (0.0, 0.02 * tall, floor + 0.93 * tall), 0.19 * tall, noise) / tall
    return tall * joined(body, head, 0.02)


def _lying_person(points: Floats, floor: float, long: float, noise: Noise) -> Floats:
    """A person lying along x on one elbow, chest and face to the front, knees bent."""
    p = (points - np.array([0.0, 0.0, floor])) / long
    torso = limb(p, [(0.05, 0.02, 0.10), (-0.12, 0.02, 0.14), (-0.26, 0.02, 0.26)], [0.095, 0.085, 0.095], 0.05)
    upper = limb(
        p, [(0.05, 0.0, 0.12), (0.26, -0.10, 0.15), (0.47, -0.02, 0.06), (0.52, -0.07, 0.04)], [0.08, 0.06, 0.04, 0.03], 0.03
    )
    lower = limb(
        p, [(0.05, 0.02, 0.08), (0.28, -0.07, 0.06), (0.50, 0.03, 0.04), (0.54, -0.02, 0.03)], [0.08, 0.06, 0.04, 0.03], 0.03
    )
    elbow = limb(p, [(-0.33, 0.03, 0.25), (-0.40, 0.02, 0.05), (-0.32, -0.12, 0.03)], [0.045, 0.04, 0.03], 0.03)
    arm = limb(p, [(-0.22, -0.03, 0.32), (-0.08, -0.08, 0.26), (0.08, -0.07, 0.22)], [0.045, 0.035, 0.03], 0.03)
    body = joined(joined(joined(joined(torso, upper, 0.04), lower, 0.03), elbow, 0.02), arm, 0.02)
    body = joined(body, taper(p, (-0.29, 0.02, 0.32), (-0.33, 0.01, 0.40), 0.045, 0.042), 0.03)
    head = _head(points, (-0.35 * long, 0.0, floor + 0.47 * long), 0.17 * long, noise) / long
    return long * both(joined(body, head, 0.02), -p[:, 2], 0.005)


def _quadruped(points: Floats, floor: float, long: float, *, trunk: float = 0.0) -> Floats:
    """A four-legged animal that looks to -Y, its tail behind; `trunk` lengthens the muzzle downwards."""
    p = (points - np.array([0.0, 0.0, floor])) / long
    body = limb(p, [(0, -0.24, 0.50), (0, 0.05, 0.48), (0, 0.30, 0.50)], [0.16, 0.15, 0.15], 0.05)
    for side in (-1.0, 1.0):
        front = limb(
            p, [(0.09 * side, -0.26, 0.42), (0.10 * side, -0.25, 0.20), (0.10 * side, -0.27, 0.03)], [0.08, 0.05, 0.045], 0.03
        )
        back = limb(
            p, [(0.09 * side, 0.30, 0.44), (0.11 * side, 0.27, 0.24), (0.10 * side, 0.34, 0.03)], [0.11, 0.055, 0.045], 0.03
        )
        paws = joined(
            ellipsoid(p, (0.10 * side, -0.30, 0.03), (0.05, 0.07, 0.035)),
            ellipsoid(p, (0.10 * side, 0.31, 0.03), (0.05, 0.07, 0.035)),
            0.02,
        )
        body = joined(joined(joined(body, front, 0.03), back, 0.03), paws, 0.02)
    neck = taper(p, (0, -0.30, 0.54), (0, -0.46, 0.68), 0.12, 0.10)
    head = joined(
        ellipsoid(p, (0, -0.50, 0.72), (0.115, 0.13, 0.11)), taper(p, (0, -0.56, 0.69), (0, -0.68, 0.66), 0.08, 0.055), 0.03
    )
    if trunk:
        head = joined(head, limb(p, [(0, -0.66, 0.66), (0, -0.74, 0.45), (0, -0.68, trunk)], [0.06, 0.05, 0.035], 0.03), 0.03)
    for side in (-1.0, 1.0):
        head = joined(head, ellipsoid(p, (0.10 * side, -0.45, 0.83), (0.05, 0.025, 0.08)), 0.02)
        head = cut(head, ellipsoid(p, (0.075 * side, -0.585, 0.745), (0.025, 0.03, 0.022)), 0.01)
    tail = limb(p, [(0, 0.42, 0.56), (0, 0.56, 0.52), (0, 0.62, 0.34)], [0.035, 0.028, 0.02], 0.02)
    return long * both(joined(joined(joined(body, neck, 0.05), head, 0.03), tail, 0.02), -p[:, 2], 0.005)


def _sitting_cat(points: Floats, floor: float, tall: float) -> Floats:
    """A cat that sits upright, forelegs before it, tail round its side."""
    p = (points - np.array([0.0, 0.0, floor])) / tall
    body = limb(p, [(0, 0.12, 0.18), (0, 0.06, 0.40), (0, -0.05, 0.60)], [0.19, 0.16, 0.12], 0.08)
    for side in (-1.0, 1.0):
        body = joined(body, ellipsoid(p, (0.14 * side, 0.10, 0.13), (0.09, 0.16, 0.13)), 0.04)
        body = joined(
            body,
            limb(
                p,
                [(0.07 * side, -0.12, 0.48), (0.07 * side, -0.17, 0.05), (0.07 * side, -0.22, 0.03)],
                [0.06, 0.042, 0.035],
                0.02,
            ),
            0.02,
        )
    head = joined(ellipsoid(p, (0, -0.10, 0.78), (0.13, 0.13, 0.12)), ellipsoid(p, (0, -0.21, 0.74), (0.06, 0.06, 0.05)), 0.03)
    for side in (-1.0, 1.0):
        head = joined(head, taper(p, (0.08 * side, -0.08, 0.87), (0.10 * side, -0.08, 0.96), 0.04, 0.012), 0.02)
        head = cut(head, ellipsoid(p, (0.06 * side, -0.225, 0.80), (0.024, 0.03, 0.022)), 0.01)
    tail = limb(p, [(0.10, 0.28, 0.05), (0.28, 0.20, 0.04), (0.26, -0.05, 0.035)], [0.04, 0.035, 0.025], 0.02)
    return tall * both(joined(joined(body, head, 0.05), tail, 0.02), -p[:, 2], 0.005)


def _bird(points: Floats, floor: float, tall: float) -> Floats:
    """A bird upright on two legs, beak to -Y, wings folded, tail behind and down."""
    p = (points - np.array([0.0, 0.0, floor])) / tall
    body = ellipsoid(p, (0, 0.05, 0.48), (0.20, 0.22, 0.32), rotation(("x", -22.0)))
    body = joined(body, ellipsoid(p, (0, -0.10, 0.84), (0.13, 0.14, 0.13)), 0.06)
    body = joined(body, taper(p, (0, -0.22, 0.83), (0, -0.33, 0.78), 0.045, 0.012), 0.02)
    body = joined(body, box(p, (0, 0.33, 0.22), (0.10, 0.03, 0.22), 0.02, rotation(("x", 25.0))), 0.03)
    for side in (-1.0, 1.0):
        body = joined(body, ellipsoid(p, (0.19 * side, 0.12, 0.46), (0.05, 0.18, 0.28), rotation(("x", -25.0))), 0.03)
        body = cut(body, ellipsoid(p, (0.075 * side, -0.21, 0.87), (0.03, 0.03, 0.03)), 0.01)
        body = joined(body, taper(p, (0.08 * side, 0.02, 0.22), (0.08 * side, 0.0, 0.0), 0.045, 0.04), 0.02)
        body = joined(body, taper(p, (0.08 * side, 0.0, 0.02), (0.09 * side, -0.12, 0.015), 0.03, 0.02), 0.02)
    return tall * both(body, -p[:, 2], 0.005)


def _shell(points: Floats, outside: Floats, wall: float) -> Floats:
    return np.abs(outside + 0.5 * wall) - 0.5 * wall


def _jug(points: Floats) -> Floats:
    """A jug with a handle behind it (+X) and a spout (-X); it has no front of its own but shows its broad side."""
    z = points[:, 2] / 78.0
    radius = 14.0 + 14.0 * np.sin(np.pi * np.clip(0.10 + 0.80 * z, 0.0, 1.0)) - 5.0 * np.exp(-np.square((z - 0.86) / 0.1))
    outside = both((np.hypot(points[:, 0], points[:, 1]) - radius) / 1.25, points[:, 2] - 78.0, 1.0)
    body = both(cut(outside, np.maximum(outside + 2.6, 3.0 - points[:, 2]), 0.6), -points[:, 2], 0.6)
    body = cut(body, np.maximum((np.hypot(points[:, 0], points[:, 1]) - radius + 2.6) / 1.25, 60.0 - points[:, 2]), 0.6)
    handle = limb(points, [(17, 0, 70), (37, 0, 66), (38, 0, 44), (26, 0, 30)], [3.2, 3.0, 3.0, 3.4], 2.0)
    return joined(body, handle, 2.0)


def _bowl(points: Floats) -> Floats:
    """A bowl on a foot ring."""
    ball = np.linalg.norm(points - np.array([0, 0, 46.0]), axis=1)
    wall = both(np.abs(ball - 40.0) - 1.6, points[:, 2] - 42.0, 0.8)
    ring = np.maximum(np.abs(np.hypot(points[:, 0], points[:, 1]) - 16.0) - 2.2, np.abs(points[:, 2] - 5.0) - 5.0)
    return joined(wall, ring, 1.0)


def _helmet(points: Floats) -> Floats:
    """An open helmet that rests on its rim: dome, crest from front to back, cheek pieces, a nose guard at the front."""
    dome = ellipsoid(points, (0, 0, 30), (27, 34, 40))
    shell = both(_shell(points, dome, 3.0), -points[:, 2], 0.6)
    opening = box(points, (0, -36, 14), (14, 22, 16), 4.0)
    guard = box(points, (0, -32.5, 22), (2.5, 2.2, 15), 1.0)
    crest = both(np.maximum(np.abs(points[:, 0]) - 2.0, ellipsoid(points, (0, 4, 34), (40, 40, 46))), 30.0 - points[:, 2], 0.6)
    crest = np.maximum(crest, -(dome + 1.0))
    return joined(joined(cut(shell, opening, 1.0), guard, 1.0), crest, 1.5)


def _tripod(points: Floats) -> Floats:
    """A cauldron on three spread legs, two lugs on its rim: wider at the feet than anywhere."""
    ball = np.linalg.norm((points - np.array([0, 0, 46.0])) / np.array([1.0, 1.0, 0.85]), axis=1)
    body = both(np.abs(ball - 25.0) - 1.8, points[:, 2] - 56.0, 0.8)
    for turn in (90.0, 210.0, 330.0):
        side = np.array([np.cos(np.radians(turn)), np.sin(np.radians(turn)), 0.0])
        leg = limb(
            points, [16.0 * side + [0, 0, 32.0], 30.0 * side + [0, 0, 14.0], 42.0 * side + [0, 0, 2.0]], [4.0, 3.2, 3.4], 2.0
        )
        body = joined(body, leg, 2.0)
    for side in (-1.0, 1.0):
        body = joined(
            body, limb(points, [(26 * side, -6, 54), (27 * side, 0, 64), (26 * side, 6, 54)], [2.4, 2.4, 2.4], 1.0), 1.0
        )
    return both(body, -points[:, 2], 0.4)


# --- the forms ------------------------------------------------------------------------------------------------------------


def _slab(points: Floats, half: tuple[float, float], top: float) -> Floats:
    return box(points, (0, 0, 0.5 * top), (half[0], half[1], 0.5 * top), 0.8)


def _disc(points: Floats, radius: float, top: float) -> Floats:
    return both(np.hypot(points[:, 0], points[:, 1]) - radius, np.abs(points[:, 2] - 0.5 * top) - 0.5 * top, 0.8)


def _bust(points: Floats, noise: Noise) -> Floats:
    """Head, neck and shoulders; the socle comes from the caller."""
    chest = both(ellipsoid(points, (0, 2, 14), (30, 17, 24)), 14.0 - points[:, 2], 1.0)
    neck = taper(points, (0, 2, 30), (0, 0, 50), 10.0, 9.0)
    return joined(joined(chest, neck, 6.0), _head(points, (0, -2, 66), 36.0, noise), 3.0)


def _cut_head(points: Floats, noise: Noise) -> Floats:
    """A head cut off at the neck by a slanted plane, carved hair behind."""
    neck = taper(points, (0, 4, 0), (0, 0, 30), 12.0, 11.0)
    whole = joined(neck, _head(points, (0, -2, 50), 44.0, noise), 4.0)
    slope = (points[:, 2] - 14.0) - 0.45 * (points[:, 1] - 2.0)
    return both(whole, -slope, 0.8)


def _head_on_mount(points: Floats, noise: Noise) -> Floats:
    head = joined(_cut_head(points - np.array([0, 0, 26.0]), noise), taper(points, (0, 0, 8), (0, 0, 50), 2.6, 2.6), 0.6)
    return joined(head, box(points, (0, 0, 6), (17, 17, 6), 0.8), 0.6)


@lru_cache(maxsize=1)
def figures() -> tuple[Figure, ...]:
    """All of them, in a fixed order."""
    noise = Noise(41)
    rock = Noise(42)

    def on(piece: Field, stand: Field) -> Field:
        return lambda points: joined(piece(points), stand(points), 0.8)

    def rocky(points: Floats) -> Floats:
        return both(ellipsoid(points, (2, 3, 4), (30, 25, 17)) + 1.8 * rock(points, 14.0), -points[:, 2], 0.6)

    return (
        Figure("person_open_slab", on(lambda p: _standing_person(p, 7.0, 84.0, noise), lambda p: _slab(p, (17, 15), 8.0)),
               (-20, -20, 0), (20, 20, 95), 8.0, open_bottom=True),
        Figure("person_disc", on(lambda p: _standing_person(p, 4.0, 80.0, noise), lambda p: _disc(p, 17.0, 5.0)),
               (-20, -20, 0), (20, 20, 88), 5.0),
        Figure("sitting_open_slab", on(lambda p: _sitting_person(p, 5.0, 72.0, noise), lambda p: _slab(p, (24, 34), 6.0)),
               (-26, -36, 0), (26, 36, 80), 6.0, open_bottom=True),
        Figure("dog_open_slab", on(lambda p: _quadruped(p, 5.0, 70.0), lambda p: _slab(p, (14, 32), 6.0)),
               (-16, -52, 0), (16, 48, 72), 6.0, open_bottom=True),
        Figure("bird_rock", on(lambda p: _bird(p, 14.0, 66.0), rocky), (-32, -30, 0), (34, 34, 82), None, open_bottom=True),
        Figure("bust_socle", on(lambda p: _bust(p, noise), lambda p: _disc(p, 13.0, 15.0)), (-32, -24, 0), (32, 24, 86), 15.0),
        Figure("head_mount", lambda p: _head_on_mount(p, noise), (-22, -28, 0), (22, 28, 102), 12.0),
        Figure("lying_open_slab", on(lambda p: _lying_person(p, 5.0, 86.0, noise), lambda p: _slab(p, (50, 17), 6.0)),
               (-52, -19, 0), (52, 19, 58), 6.0, open_bottom=True),
        Figure("cut_head", lambda p: _cut_head(p, noise), (-20, -26, -2), (20, 26, 76)),
        Figure("lying", lambda p: _lying_person(p, 0.0, 90.0, noise), (-46, -16, 0), (52, 16, 54)),
        Figure("elephant", lambda p: _quadruped(p, 0.0, 66.0, trunk=0.16), (-14, -54, 0), (14, 44, 64)),
        Figure("cat", lambda p: _sitting_cat(p, 0.0, 74.0), (-20, -22, 0), (24, 28, 74)),
        Figure("jug", _jug, (-32, -32, 0), (44, 32, 80), front=False),
        Figure("bowl", _bowl, (-42, -42, 0), (42, 42, 46), front=False),
        Figure("helmet", _helmet, (-32, -42, 0), (32, 50, 84)),
        Figure("tripod", _tripod, (-50, -50, 0), (50, 50, 68), front=False),
    )  # fmt: skip
