"""Smooth animals by formula, to ask where the front is of what has no fine work: z up, head towards -Y, mm.

They were made to check the front's evidence, each kind in random proportions by a seed. `LOOKED_AT` were looked at, case by
case, while that was weighed, `COUNTED` only as a whole: they are the ones to judge by.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh

from ..modelling.fields import both, ellipsoid, joined, limb, rotation, taper
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


def _croc(p: Floats, rng: Rng) -> Floats:
    """A crocodile, its tail to one side."""
    L = rng.uniform(26, 34)
    h = rng.uniform(6, 9)
    body = ellipsoid(p, (0, 0, h), (9, L * 0.75, 5.5))
    body = joined(
        body, limb(p, np.array([[0, -L * 0.6, h], [0, -L * 1.0, h], [0, -L * 1.45, h - 1]]), np.array([6, 4.6, 2.6]), 0.6), 3
    )
    body = joined(
        body,
        limb(
            p,
            np.array([[0, L * 0.5, h], [rng.uniform(-6, 6), L * 1.1, h - 1.5], [rng.uniform(-16, 16), L * 1.9, h - 3.5]]),
            np.array([6, 3.6, 1]),
            0.6,
        ),
        3,
    )
    for s in (-1, 1):
        body = joined(body, ellipsoid(p, (2.6 * s, -L * 0.85, h + 4), (1.6, 2.2, 1.6)), 0.6)
    for y in (-L * 0.4, L * 0.4):
        for s in (-1, 1):
            body = joined(
                body,
                limb(p, np.array([[6 * s, y, h], [14 * s, y + 2, h - 1], [15 * s, y - 4, 1.5]]), np.array([3, 2.2, 1.8]), 0.5),
                1.2,
            )
    return body


def _bear(p: Floats, rng: Rng) -> Floats:
    """A bear that sits upright."""
    h = rng.uniform(24, 30)
    body = joined(ellipsoid(p, (0, 3, 18), (15, 14, 17)), ellipsoid(p, (0, 0, h + 9), (11, 10, 13)), 5)
    body = joined(body, ellipsoid(p, (0, -3, h + 27), (8, 8.5, 8)), 2.5)
    body = joined(body, ellipsoid(p, (0, -11, h + 24.5), (3.6, 5, 3.2)), 1.5)
    for s in (-1, 1):
        body = joined(body, ellipsoid(p, (6.5 * s, 0, h + 34), (2.6, 1.6, 2.6)), 0.8)
        body = joined(
            body,
            limb(p, np.array([[10 * s, -1, h + 14], [14 * s, -8, h + 4], [9 * s, -15, h - 4]]), np.array([4.4, 4, 3.4]), 0.6),
            1.5,
        )
        body = joined(
            body, limb(p, np.array([[11 * s, 0, 6], [14 * s, -14, 5.5], [13 * s, -21, 6]]), np.array([6, 5, 4.6]), 0.6), 2
        )
    return body


def _tortoise(p: Floats, rng: Rng) -> Floats:
    """A tortoise with its head out."""
    h = rng.uniform(9, 12)
    L = rng.uniform(20, 25)
    body = both(ellipsoid(p, (0, 0, h - 3), (17, L, rng.uniform(14, 19))), h - 4 - p[:, 2], 2)
    body = joined(body, taper(p, (0, -L * 0.8, h), (0, -L - 8, h + rng.uniform(0, 9)), 4, 3.6), 1.5)
    body = joined(body, ellipsoid(p, (0, -L - 11, h + rng.uniform(3, 8)), (4, 5.5, 4)), 1.5)
    body = joined(body, taper(p, (0, L * 0.85, h - 2), (0, L + 7, h - 6), 2.2, 0.8), 1)
    for y in (-L * 0.6, L * 0.6):
        for s in (-1, 1):
            body = joined(body, taper(p, (11 * s, y, h - 2), (15 * s, y * 1.15, 2.5), 4.4, 3.4), 1.2)
    return body


def _swan(p: Floats, rng: Rng) -> Floats:
    """A swan on the water, cut off there."""
    L = rng.uniform(18, 24)
    body = both(ellipsoid(p, (0, 2, 9), (12, L, 11)), -p[:, 2], 1.5)
    n = np.array([[0, -L * 0.7, 12], [0, -L - rng.uniform(2, 6), 24], [0, -L + rng.uniform(2, 6), 38], [0, -L - 4, 44]])
    body = joined(body, limb(p, n, np.array([4.2, 3, 2.5, 2.6]), 0.8), 2.5)
    body = joined(body, ellipsoid(p, n[-1] + [0, -2, 0], (3, 4, 3)), 1)
    body = joined(body, taper(p, n[-1] + [0, -5, -0.6], n[-1] + [0, -10, -2], 1.7, 0.9), 0.7)
    body = joined(body, taper(p, (0, L * 0.8, 12), (0, L + 7, 19), 5, 1.5), 2.5)
    for s in (-1, 1):
        body = joined(body, ellipsoid(p, (9 * s, 5, 14), (4, L * 0.8, 9), rotation(("x", 12))), 1.5)
    return body


def _hare(p: Floats, rng: Rng) -> Floats:
    """A hare that sits with its ears laid back."""
    body = joined(ellipsoid(p, (0, 7, 14), (11, 13, 14)), ellipsoid(p, (0, -5, 22), (8, 8, rng.uniform(12, 16))), 4)
    body = joined(body, ellipsoid(p, (0, -9, 38), (6, 8, 6.5)), 2)
    e = rng.uniform(14, 20)
    back = rng.uniform(2, 10)
    for s in (-1, 1):
        body = joined(body, taper(p, (2.6 * s, -6, 42), (3.6 * s, -6 + back, 42 + e), 1.9, 1.5), 0.8)
        body = joined(
            body, limb(p, np.array([[4.5 * s, -6, 20], [5 * s, -11, 9], [5 * s, -13, 2]]), np.array([3.2, 2.6, 2.4]), 0.5), 1
        )
        body = joined(
            body, limb(p, np.array([[9 * s, 12, 8], [9 * s, 0, 3], [9 * s, -6, 2.4]]), np.array([5, 3.2, 2.4]), 0.5), 1.2
        )
    return joined(body, ellipsoid(p, (0, 20, 9), (3.5, 3.5, 3.5)), 1)


def _lizard(p: Floats, rng: Rng) -> Floats:
    """A lizard, its tail winding."""
    L = rng.uniform(20, 28)
    h = 6
    k = rng.uniform(-10, 10)
    body = ellipsoid(p, (0, 0, h), (6, L * 0.6, 4))
    body = joined(body, ellipsoid(p, (0, -L * 0.85, h + 1.5), (4.6, 7.5, 3.4)), 2)
    body = joined(
        body,
        limb(
            p,
            np.array([[0, L * 0.4, h], [k, L * 1.0, h - 1.5], [2 * k, L * 1.7, h - 3], [0.5 * k, L * 2.1, h - 4]]),
            np.array([4, 2.6, 1.6, 0.9]),
            0.6,
        ),
        2,
    )
    for y in (-L * 0.4, L * 0.35):
        for s in (-1, 1):
            body = joined(
                body,
                limb(
                    p,
                    np.array([[4 * s, y, h], [11 * s, y + rng.uniform(-3, 3), h], [14 * s, y - 5, 1.4]]),
                    np.array([2, 1.6, 1.3]),
                    0.5,
                ),
                1,
            )
    return body


def _seal(p: Floats, rng: Rng) -> Floats:
    """A seal that holds its head up."""
    L = rng.uniform(24, 30)
    q = np.array([[0, -L * 0.55, rng.uniform(24, 32)], [0, -L * 0.4, 14], [0, 0, 9], [0, L * 0.7, 6], [0, L * 1.2, 4]])
    body = limb(p, q, np.array([5.5, 8.5, 9, 5.5, 2.5]), 2.0)
    body = joined(body, ellipsoid(p, q[0] + [0, -5, 1], (4.5, 6, 4.5)), 2)
    for s in (-1, 1):
        body = joined(body, ellipsoid(p, (12 * s, -L * 0.25, 3), (8, 4.5, 1.8), rotation(("z", 20 * s))), 1)
        body = joined(body, ellipsoid(p, (4 * s, L * 1.25, 3), (2.4, 6, 1.5), rotation(("z", -25 * s))), 1)
    return body


def _fish(p: Floats, rng: Rng) -> Floats:
    """A fish on a rod and a round foot."""
    L = rng.uniform(22, 28)
    h = 30
    body = ellipsoid(p, (0, -2, h), (6, L, rng.uniform(9, 12)))
    body = joined(body, taper(p, (0, L * 0.7, h), (0, L * 1.15, h), 4, 2), 2)
    for s in (-1, 1):
        body = joined(body, ellipsoid(p, (0, L * 1.35, h + 6 * s), (1.4, 5, 7), rotation(("x", 35 * s))), 1)
    body = joined(body, ellipsoid(p, (0, 0, h + 10), (1.2, 11, 7)), 1)
    for s in (-1, 1):
        body = joined(body, ellipsoid(p, (6 * s, -L * 0.35, h - 3), (3.5, 5, 1.2), rotation(("y", 35 * s))), 0.7)
    body = joined(body, taper(p, (0, 0, 2), (0, 0, h - 6), 2.4, 2.4), 0.8)
    return joined(body, both(np.hypot(p[:, 0], p[:, 1]) - 14, np.abs(p[:, 2] - 2.5) - 2.5, 0.8), 0.6)


def _penguin(p: Floats, rng: Rng) -> Floats:
    """A penguin."""
    h = rng.uniform(20, 24)
    body = ellipsoid(p, (0, 0, h), (11, rng.uniform(9, 12), h - 1))
    body = joined(body, ellipsoid(p, (0, -1, 2 * h + 3), (6, 6.5, 7)), 3)
    body = joined(body, taper(p, (0, -6, 2 * h + 4), (0, -12, 2 * h + 3), 2, 0.9), 1)
    for s in (-1, 1):
        body = joined(body, ellipsoid(p, (11.5 * s, 1, h + 2), (2, 4.5, 12), rotation(("y", -9 * s))), 1)
        body = joined(body, ellipsoid(p, (5 * s, -5, 1.6), (3.5, 6.5, 1.6)), 1)
    return joined(body, taper(p, (0, 7, 6), (0, 13, 2), 3.4, 1.6), 1.5)


def _frog(p: Floats, rng: Rng) -> Floats:
    """A frog."""
    body = joined(ellipsoid(p, (0, 6, 8), (12, 13, 8)), ellipsoid(p, (0, -8, rng.uniform(13, 17)), (9.5, 9, 6.5)), 4)
    for s in (-1, 1):
        body = joined(body, ellipsoid(p, (6 * s, -8, 22), (2.8, 2.8, 2.8)), 0.8)
        body = joined(
            body,
            limb(
                p, np.array([[9 * s, 12, 7], [16 * s, -2, 8], [14 * s, 14, 3], [18 * s, 0, 1.6]]), np.array([5, 4, 2.6, 2]), 0.6
            ),
            1.2,
        )
        body = joined(
            body, limb(p, np.array([[8 * s, -6, 9], [12 * s, -11, 5], [11 * s, -17, 1.5]]), np.array([2.8, 2.2, 2]), 0.5), 1
        )
    return body


def _kangaroo(p: Floats, rng: Rng) -> Floats:
    """A kangaroo on its tail."""
    body = joined(ellipsoid(p, (0, 6, 20), (10, 11, 14)), ellipsoid(p, (0, -2, 38), (6.5, 6.5, 12)), 4)
    hd = np.array([0, -5, 54])
    body = joined(body, taper(p, (0, -2, 46), hd, 4, 3.4), 2)
    body = joined(body, taper(p, hd, hd + np.array([0, -8, -2.5]), 4, 2.2), 1.2)
    for s in (-1, 1):
        body = joined(body, ellipsoid(p, hd + np.array([2.6 * s, 2, 7]), (1.5, 1, 4.5)), 0.6)
        body = joined(
            body, limb(p, np.array([[6 * s, -4, 40], [7 * s, -10, 34], [5 * s, -14, 33]]), np.array([2, 1.6, 1.3]), 0.5), 0.8
        )
        body = joined(
            body,
            limb(
                p, np.array([[8 * s, 5, 17], [9 * s, -4, 11], [9 * s, 8, 3], [9 * s, -9, 1.8]]), np.array([5.5, 4, 2.6, 2]), 0.5
            ),
            1.2,
        )
    return joined(
        body,
        limb(
            p, np.array([[0, 14, 14], [0, 26, 5], [rng.uniform(-6, 6), rng.uniform(40, 52), 2.5]]), np.array([5.5, 4, 2]), 0.6
        ),
        3,
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
