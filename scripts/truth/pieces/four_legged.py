"""Smooth animals on four legs by formula: `animals.py` has the others, and says what they are for."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..modelling.fields import ellipsoid, joined, rotation, taper, with_limb

Floats = Any
Rng = np.random.Generator


def _legs(points: Floats, body: Floats, spots: tuple[float, float], high: float, thick: float, rng: Rng) -> Floats:
    """A body with two pairs of legs, at these places along it, from a height down; thick: radius of a leg."""
    for along in spots:
        for side in (-1, 1):
            across = side * rng.uniform(0.8, 1.1) * 4.5
            knee = [1.1 * across, along + rng.uniform(-2, 2), 0.5 * high]
            foot = [1.1 * across, along + rng.uniform(-3, 3), 1.5]
            body = with_limb(points, body, [[across, along, high], knee, foot], [1.4 * thick, thick, thick], fillet=1.2)
    return body


def _tail(points: Floats, body: Floats, rump: tuple[float, float], path: Floats, radii: Floats, *, fillet: float) -> Floats:
    """A body with a tail in its plane of symmetry; path: how far behind and above the rump (its place along the body and its
    height) the tail's corners lie."""
    return with_limb(points, body, [(0.0, rump[0] + behind, rump[1] + above) for behind, above in path], radii, fillet=fillet)


def dog(points: Floats, rng: Rng) -> Floats:
    """A dog on four legs, its tail in the air."""
    half_length = rng.uniform(15, 22)
    height = rng.uniform(22, 28)
    body = ellipsoid(points, (0, 0, height), (7, half_length, 8))
    body = joined(body, taper(points, (0, -half_length * 0.8, height + 3), (0, -half_length - 4, height + 11), 5, 4), 3)
    body = joined(body, ellipsoid(points, (0, -half_length - 7, height + 14), (5, 7, 5)), 2)
    path = [(-1, 3), (8, rng.uniform(0, 12)), (14, rng.uniform(-4, 16))]
    body = _tail(points, body, (half_length, height), path, [2.2, 1.6, 1.2], fillet=1.5)
    return _legs(points, body, (-half_length * 0.65, half_length * 0.65), height, 2.4, rng)


def rearing(points: Floats, rng: Rng) -> Floats:
    """A horse that rears on its hind legs."""
    tilt = rng.uniform(45, 65)
    turn = rotation(("x", -tilt))
    half_length = rng.uniform(18, 23)
    body = ellipsoid(points, (0, 2, 42), (7.5, half_length, 8.5), turn)
    cosine = np.cos(np.radians(tilt))
    sine = np.sin(np.radians(tilt))
    chest = np.array([0, 2 - cosine * half_length * 0.8, 42 + sine * half_length * 0.8])
    hip = np.array([0, 2 + cosine * half_length * 0.75, 42 - sine * half_length * 0.75])
    head = chest + [0, rng.uniform(-9, -2), rng.uniform(14, 20)]
    body = joined(body, taper(points, chest, head, 6.5, 4.2), 3)
    body = joined(body, taper(points, head, head + np.array([0, -rng.uniform(8, 12), -rng.uniform(3, 8)]), 4.4, 2.4), 2)
    for side in (-1, 1):
        body = joined(body, ellipsoid(points, head + [2.4 * side, 1, 4.5], (1, 1, 3)), 0.6)
        body = with_limb(
            points,
            body,
            [hip + [4.5 * side, 0, 0], hip + [5 * side, -3, -12], [5 * side, hip[1] + 3, 1.5]],
            [5, 3, 2.3],
            fillet=1.5,
        )
        body = with_limb(
            points,
            body,
            [
                chest + [4 * side, 0, -2],
                chest + [4.5 * side, -10, rng.uniform(-4, 3)],
                chest + [4.5 * side, -12, rng.uniform(-14, -8)],
            ],
            [3.4, 2.4, 1.8],
            fillet=1.2,
        )
    return with_limb(points, body, [hip + [0, 3, 2], hip + [0, 12, -4], hip + [0, 14, -18]], [2.5, 3, 1.5], fillet=1.5)


def giraffe(points: Floats, rng: Rng) -> Floats:
    """A giraffe."""
    half_length = rng.uniform(11, 14)
    height = rng.uniform(38, 44)
    body = ellipsoid(points, (0, 0, height), (6, half_length, 7))
    top = np.array([0, -half_length - rng.uniform(6, 12), height + rng.uniform(28, 36)])
    body = joined(body, taper(points, (0, -half_length * 0.7, height + 2), top, 5, 2.8), 3)
    body = joined(body, taper(points, top, top + np.array([0, -8, -3]), 3.2, 1.8), 1.5)
    for side in (-1, 1):
        body = joined(body, taper(points, top + [1.3 * side, 0, 1], top + [1.6 * side, 1, 6], 0.8, 1), 0.5)
    body = _tail(points, body, (half_length, height), [(-1, 2), (3, -6), (3, -16)], [1.4, 1, 1.4], fillet=1)
    return _legs(points, body, (-half_length * 0.6, half_length * 0.6), height, 2, rng)


def bull(points: Floats, rng: Rng) -> Floats:
    """A bull with its head lowered."""
    half_length = rng.uniform(19, 24)
    height = rng.uniform(24, 29)
    body = joined(
        ellipsoid(points, (0, 3, height), (9, half_length, 10)),
        ellipsoid(points, (0, -half_length * 0.5, height + 4), (9, half_length * 0.55, 11)),
        3,
    )
    head = np.array([0, -half_length - 7, height + rng.uniform(-6, 4)])
    body = joined(body, taper(points, (0, -half_length * 0.7, height + 3), head + [0, 3, 2], 8, 5.5), 3)
    body = joined(body, taper(points, head, head + np.array([0, -5, -8]), 5, 3.2), 2)
    for side in (-1, 1):
        body = with_limb(
            points,
            body,
            head + np.array([[3 * side, 0, 4], [9 * side, -1, 6], [11 * side, -3, 12]]),
            [1.8, 1.4, 0.8],
            fillet=0.8,
        )
    body = _tail(points, body, (half_length, height), [(2, 4), (6, -8), (6, -17)], [1.5, 1.1, 1.6], fillet=1)
    return _legs(points, body, (-half_length * 0.55, half_length * 0.7), height, 2.8, rng)


def elephant(points: Floats, rng: Rng) -> Floats:
    """An elephant with tusks."""
    half_length = rng.uniform(17, 21)
    height = rng.uniform(26, 30)
    body = ellipsoid(points, (0, 0, height), (12, half_length, 12))
    head = np.array([0, -half_length - 4, height + 6])
    body = joined(body, ellipsoid(points, head, (8, 8, 9)), 3)
    body = with_limb(
        points,
        body,
        head + np.array([[0, -6, -2], [0, -11, -12], [0, -11 - rng.uniform(-2, 5), -22]]),
        [3.6, 2.6, 1.9],
        fillet=1.5,
        blend=0.6,
    )
    for side in (-1, 1):
        body = joined(body, ellipsoid(points, head + [10 * side, 5, 0], (6, 1.6, 9), rotation(("z", 20 * side))), 1)
        body = with_limb(
            points,
            body,
            head + np.array([[4 * side, -5, -5], [5 * side, -11, -9], [5 * side, -15, -7]]),
            [1.4, 1.2, 0.7],
            fillet=0.6,
        )
    body = _tail(points, body, (half_length, height), [(-1, 4), (3, -6), (3, -14)], [1.6, 1.2, 1], fillet=1)
    return _legs(points, body, (-half_length * 0.6, half_length * 0.6), height, 4, rng)


def pig(points: Floats, rng: Rng) -> Floats:
    """A pig."""
    half_length = rng.uniform(19, 24)
    height = rng.uniform(15, 18)
    body = ellipsoid(points, (0, 0, height), (9.5, half_length, 10))
    body = joined(body, ellipsoid(points, (0, -half_length - 2, height + 3), (7, 7.5, 7)), 4)
    body = joined(
        body, taper(points, (0, -half_length - 7, height + 2), (0, -half_length - 12, height + rng.uniform(-3, 1)), 3.8, 3), 1
    )
    for side in (-1, 1):
        body = joined(body, ellipsoid(points, (5 * side, -half_length - 2, height + 9.5), (2.4, 1.2, 3.4)), 0.6)
    body = with_limb(
        points,
        body,
        [[0, half_length - 1, height + 4], [1.5, half_length + 3, height + 5], [-1, half_length + 4, height + 2]],
        [1.3, 1, 0.8],
        fillet=0.6,
        blend=0.4,
    )
    return _legs(points, body, (-half_length * 0.6, half_length * 0.6), height - 2, 2.8, rng)


def camel(points: Floats, rng: Rng) -> Floats:
    """A camel of two humps."""
    half_length = rng.uniform(16, 20)
    height = rng.uniform(30, 34)
    body = ellipsoid(points, (0, 0, height), (7.5, half_length, 8))
    for along in (-half_length * 0.35, half_length * 0.35):
        body = joined(body, ellipsoid(points, (0, along, height + 9), (4, 5, 6)), 3)
    neck = np.array(
        [
            [0, -half_length * 0.85, height],
            [0, -half_length - 8, height - 2],
            [0, -half_length - 12, height + rng.uniform(8, 16)],
        ]
    )
    body = with_limb(points, body, neck, [4.6, 3.6, 3], fillet=2, blend=0.6)
    body = joined(body, taper(points, neck[-1], neck[-1] + [0, -8, -2], 3.4, 2.2), 1.2)
    body = _tail(points, body, (half_length, height), [(-1, 2), (2, -5), (2, -13)], [1.2, 0.9, 1.1], fillet=0.8)
    return _legs(points, body, (-half_length * 0.6, half_length * 0.6), height, 2.2, rng)
