"""Smooth animals by formula, to ask where the front is of what has no fine work: z up, head towards -Y, mm.

They were made to check the front's evidence, each kind in random proportions by a seed. `LOOKED_AT` were looked at, case by
case, while that was weighed, `COUNTED` only as a whole: they are the ones to judge by.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh

from ..modelling.fields import both, ellipsoid, joined, limb, rotation, taper, with_limb
from ..modelling.nets import drawn_onto, relaxed, sampled, surface_nets, triangles
from .four_legged import bull, camel, dog, elephant, giraffe, pig, rearing

Floats = Any
Rng = np.random.Generator
STEP_MM = 1.5
LOW, HIGH = (-30.0, -75.0, -3.0), (30.0, 90.0, 90.0)
"""The box that holds any of them, mm."""


def animal(name: str, seed: int, *, noise: float = 0.0) -> TriangleMesh:
    """The mesh of one kind in the proportions of a seed; noise: spread of its vertices in mm, as of a phone scan."""

    def field(points: Floats) -> Floats:
        return KINDS[name](points, np.random.default_rng([seed, *name.encode()]))

    values, origin = sampled(field, np.array(LOW), np.array(HIGH), STEP_MM)
    vertices, quads = surface_nets(values, origin, STEP_MM)
    vertices = drawn_onto(field, relaxed(vertices, quads), rounds=2)
    return TriangleMesh(vertices + np.random.default_rng(seed).normal(0.0, noise, vertices.shape), triangles(quads))


def _croc(points: Floats, rng: Rng) -> Floats:
    """A crocodile, its tail to one side."""
    half_length = rng.uniform(26, 34)
    height = rng.uniform(6, 9)
    body = ellipsoid(points, (0, 0, height), (9, half_length * 0.75, 5.5))
    body = with_limb(
        points,
        body,
        [[0, -half_length * 0.6, height], [0, -half_length * 1.0, height], [0, -half_length * 1.45, height - 1]],
        [6, 4.6, 2.6],
        fillet=3,
        blend=0.6,
    )
    body = with_limb(
        points,
        body,
        [
            [0, half_length * 0.5, height],
            [rng.uniform(-6, 6), half_length * 1.1, height - 1.5],
            [rng.uniform(-16, 16), half_length * 1.9, height - 3.5],
        ],
        [6, 3.6, 1],
        fillet=3,
        blend=0.6,
    )
    for side in (-1, 1):
        body = joined(body, ellipsoid(points, (2.6 * side, -half_length * 0.85, height + 4), (1.6, 2.2, 1.6)), 0.6)
    for along in (-half_length * 0.4, half_length * 0.4):
        for side in (-1, 1):
            body = with_limb(
                points,
                body,
                [[6 * side, along, height], [14 * side, along + 2, height - 1], [15 * side, along - 4, 1.5]],
                [3, 2.2, 1.8],
                fillet=1.2,
            )
    return body


def _bear(points: Floats, rng: Rng) -> Floats:
    """A bear that sits upright."""
    height = rng.uniform(24, 30)
    body = joined(ellipsoid(points, (0, 3, 18), (15, 14, 17)), ellipsoid(points, (0, 0, height + 9), (11, 10, 13)), 5)
    body = joined(body, ellipsoid(points, (0, -3, height + 27), (8, 8.5, 8)), 2.5)
    body = joined(body, ellipsoid(points, (0, -11, height + 24.5), (3.6, 5, 3.2)), 1.5)
    for side in (-1, 1):
        body = joined(body, ellipsoid(points, (6.5 * side, 0, height + 34), (2.6, 1.6, 2.6)), 0.8)
        body = with_limb(
            points,
            body,
            [[10 * side, -1, height + 14], [14 * side, -8, height + 4], [9 * side, -15, height - 4]],
            [4.4, 4, 3.4],
            fillet=1.5,
            blend=0.6,
        )
        body = with_limb(
            points, body, [[11 * side, 0, 6], [14 * side, -14, 5.5], [13 * side, -21, 6]], [6, 5, 4.6], fillet=2, blend=0.6
        )
    return body


def _tortoise(points: Floats, rng: Rng) -> Floats:
    """A tortoise with its head out."""
    height = rng.uniform(9, 12)
    half_length = rng.uniform(20, 25)
    body = both(ellipsoid(points, (0, 0, height - 3), (17, half_length, rng.uniform(14, 19))), height - 4 - points[:, 2], 2)
    body = joined(
        body, taper(points, (0, -half_length * 0.8, height), (0, -half_length - 8, height + rng.uniform(0, 9)), 4, 3.6), 1.5
    )
    body = joined(body, ellipsoid(points, (0, -half_length - 11, height + rng.uniform(3, 8)), (4, 5.5, 4)), 1.5)
    body = joined(body, taper(points, (0, half_length * 0.85, height - 2), (0, half_length + 7, height - 6), 2.2, 0.8), 1)
    for along in (-half_length * 0.6, half_length * 0.6):
        for side in (-1, 1):
            body = joined(body, taper(points, (11 * side, along, height - 2), (15 * side, along * 1.15, 2.5), 4.4, 3.4), 1.2)
    return body


def _swan(points: Floats, rng: Rng) -> Floats:
    """A swan on the water, cut off there."""
    half_length = rng.uniform(18, 24)
    body = both(ellipsoid(points, (0, 2, 9), (12, half_length, 11)), -points[:, 2], 1.5)
    neck = np.array(
        [
            [0, -half_length * 0.7, 12],
            [0, -half_length - rng.uniform(2, 6), 24],
            [0, -half_length + rng.uniform(2, 6), 38],
            [0, -half_length - 4, 44],
        ]
    )
    body = with_limb(points, body, neck, [4.2, 3, 2.5, 2.6], fillet=2.5, blend=0.8)
    body = joined(body, ellipsoid(points, neck[-1] + [0, -2, 0], (3, 4, 3)), 1)
    body = joined(body, taper(points, neck[-1] + [0, -5, -0.6], neck[-1] + [0, -10, -2], 1.7, 0.9), 0.7)
    body = joined(body, taper(points, (0, half_length * 0.8, 12), (0, half_length + 7, 19), 5, 1.5), 2.5)
    for side in (-1, 1):
        body = joined(body, ellipsoid(points, (9 * side, 5, 14), (4, half_length * 0.8, 9), rotation(("x", 12))), 1.5)
    return body


def _hare(points: Floats, rng: Rng) -> Floats:
    """A hare that sits with its ears laid back."""
    body = joined(ellipsoid(points, (0, 7, 14), (11, 13, 14)), ellipsoid(points, (0, -5, 22), (8, 8, rng.uniform(12, 16))), 4)
    body = joined(body, ellipsoid(points, (0, -9, 38), (6, 8, 6.5)), 2)
    ear = rng.uniform(14, 20)
    back = rng.uniform(2, 10)
    for side in (-1, 1):
        body = joined(body, taper(points, (2.6 * side, -6, 42), (3.6 * side, -6 + back, 42 + ear), 1.9, 1.5), 0.8)
        body = with_limb(
            points, body, [[4.5 * side, -6, 20], [5 * side, -11, 9], [5 * side, -13, 2]], [3.2, 2.6, 2.4], fillet=1
        )
        body = with_limb(points, body, [[9 * side, 12, 8], [9 * side, 0, 3], [9 * side, -6, 2.4]], [5, 3.2, 2.4], fillet=1.2)
    return joined(body, ellipsoid(points, (0, 20, 9), (3.5, 3.5, 3.5)), 1)


def _lizard(points: Floats, rng: Rng) -> Floats:
    """A lizard, its tail winding."""
    half_length = rng.uniform(20, 28)
    height = 6
    bend = rng.uniform(-10, 10)
    body = ellipsoid(points, (0, 0, height), (6, half_length * 0.6, 4))
    body = joined(body, ellipsoid(points, (0, -half_length * 0.85, height + 1.5), (4.6, 7.5, 3.4)), 2)
    body = with_limb(
        points,
        body,
        [
            [0, half_length * 0.4, height],
            [bend, half_length * 1.0, height - 1.5],
            [2 * bend, half_length * 1.7, height - 3],
            [0.5 * bend, half_length * 2.1, height - 4],
        ],
        [4, 2.6, 1.6, 0.9],
        fillet=2,
        blend=0.6,
    )
    for along in (-half_length * 0.4, half_length * 0.35):
        for side in (-1, 1):
            body = with_limb(
                points,
                body,
                [[4 * side, along, height], [11 * side, along + rng.uniform(-3, 3), height], [14 * side, along - 5, 1.4]],
                [2, 1.6, 1.3],
                fillet=1,
            )
    return body


def _seal(points: Floats, rng: Rng) -> Floats:
    """A seal that holds its head up."""
    half_length = rng.uniform(24, 30)
    spine = np.array(
        [
            [0, -half_length * 0.55, rng.uniform(24, 32)],
            [0, -half_length * 0.4, 14],
            [0, 0, 9],
            [0, half_length * 0.7, 6],
            [0, half_length * 1.2, 4],
        ]
    )
    body = limb(points, spine, np.array([5.5, 8.5, 9, 5.5, 2.5]), 2.0)
    body = joined(body, ellipsoid(points, spine[0] + [0, -5, 1], (4.5, 6, 4.5)), 2)
    for side in (-1, 1):
        body = joined(
            body, ellipsoid(points, (12 * side, -half_length * 0.25, 3), (8, 4.5, 1.8), rotation(("z", 20 * side))), 1
        )
        body = joined(body, ellipsoid(points, (4 * side, half_length * 1.25, 3), (2.4, 6, 1.5), rotation(("z", -25 * side))), 1)
    return body


def _fish(points: Floats, rng: Rng) -> Floats:
    """A fish on a rod and a round foot."""
    half_length = rng.uniform(22, 28)
    height = 30
    body = ellipsoid(points, (0, -2, height), (6, half_length, rng.uniform(9, 12)))
    body = joined(body, taper(points, (0, half_length * 0.7, height), (0, half_length * 1.15, height), 4, 2), 2)
    for side in (-1, 1):
        body = joined(
            body, ellipsoid(points, (0, half_length * 1.35, height + 6 * side), (1.4, 5, 7), rotation(("x", 35 * side))), 1
        )
    body = joined(body, ellipsoid(points, (0, 0, height + 10), (1.2, 11, 7)), 1)
    for side in (-1, 1):
        body = joined(
            body, ellipsoid(points, (6 * side, -half_length * 0.35, height - 3), (3.5, 5, 1.2), rotation(("y", 35 * side))), 0.7
        )
    body = joined(body, taper(points, (0, 0, 2), (0, 0, height - 6), 2.4, 2.4), 0.8)
    return joined(body, both(np.hypot(points[:, 0], points[:, 1]) - 14, np.abs(points[:, 2] - 2.5) - 2.5, 0.8), 0.6)


def _penguin(points: Floats, rng: Rng) -> Floats:
    """A penguin."""
    height = rng.uniform(20, 24)
    body = ellipsoid(points, (0, 0, height), (11, rng.uniform(9, 12), height - 1))
    body = joined(body, ellipsoid(points, (0, -1, 2 * height + 3), (6, 6.5, 7)), 3)
    body = joined(body, taper(points, (0, -6, 2 * height + 4), (0, -12, 2 * height + 3), 2, 0.9), 1)
    for side in (-1, 1):
        body = joined(body, ellipsoid(points, (11.5 * side, 1, height + 2), (2, 4.5, 12), rotation(("y", -9 * side))), 1)
        body = joined(body, ellipsoid(points, (5 * side, -5, 1.6), (3.5, 6.5, 1.6)), 1)
    return joined(body, taper(points, (0, 7, 6), (0, 13, 2), 3.4, 1.6), 1.5)


def _frog(points: Floats, rng: Rng) -> Floats:
    """A frog."""
    body = joined(ellipsoid(points, (0, 6, 8), (12, 13, 8)), ellipsoid(points, (0, -8, rng.uniform(13, 17)), (9.5, 9, 6.5)), 4)
    for side in (-1, 1):
        body = joined(body, ellipsoid(points, (6 * side, -8, 22), (2.8, 2.8, 2.8)), 0.8)
        body = with_limb(
            points,
            body,
            [[9 * side, 12, 7], [16 * side, -2, 8], [14 * side, 14, 3], [18 * side, 0, 1.6]],
            [5, 4, 2.6, 2],
            fillet=1.2,
            blend=0.6,
        )
        body = with_limb(points, body, [[8 * side, -6, 9], [12 * side, -11, 5], [11 * side, -17, 1.5]], [2.8, 2.2, 2], fillet=1)
    return body


def _kangaroo(points: Floats, rng: Rng) -> Floats:
    """A kangaroo on its tail."""
    body = joined(ellipsoid(points, (0, 6, 20), (10, 11, 14)), ellipsoid(points, (0, -2, 38), (6.5, 6.5, 12)), 4)
    head = np.array([0, -5, 54])
    body = joined(body, taper(points, (0, -2, 46), head, 4, 3.4), 2)
    body = joined(body, taper(points, head, head + np.array([0, -8, -2.5]), 4, 2.2), 1.2)
    for side in (-1, 1):
        body = joined(body, ellipsoid(points, head + np.array([2.6 * side, 2, 7]), (1.5, 1, 4.5)), 0.6)
        body = with_limb(
            points, body, [[6 * side, -4, 40], [7 * side, -10, 34], [5 * side, -14, 33]], [2, 1.6, 1.3], fillet=0.8
        )
        body = with_limb(
            points,
            body,
            [[8 * side, 5, 17], [9 * side, -4, 11], [9 * side, 8, 3], [9 * side, -9, 1.8]],
            [5.5, 4, 2.6, 2],
            fillet=1.2,
        )
    return with_limb(
        points,
        body,
        [[0, 14, 14], [0, 26, 5], [rng.uniform(-6, 6), rng.uniform(40, 52), 2.5]],
        [5.5, 4, 2],
        fillet=3,
        blend=0.6,
    )


KINDS: dict[str, Callable[[Floats, Rng], Floats]] = {
    "dog": dog,
    "rearing": rearing,
    "croc": _croc,
    "giraffe": giraffe,
    "bear": _bear,
    "tortoise": _tortoise,
    "swan": _swan,
    "hare": _hare,
    "bull": bull,
    "lizard": _lizard,
    "seal": _seal,
    "fish": _fish,
    "elephant": elephant,
    "penguin": _penguin,
    "pig": pig,
    "camel": camel,
    "frog": _frog,
    "kangaroo": _kangaroo,
}
LOOKED_AT = (
    "dog",
    "rearing",
    "croc",
    "bear",
    "swan",
    "lizard",
    "bull",
    "fish",
    "giraffe",
    "tortoise",
    "hare",
    "seal",
    "penguin",
    "pig",
)
COUNTED = ("elephant", "camel", "frog", "kangaroo")
