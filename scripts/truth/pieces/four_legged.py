"""Smooth animals on four legs by formula: `animals.py` has the others, and says what they are for."""

from __future__ import annotations

from typing import Any

import numpy as np

from ..modelling.fields import ellipsoid, joined, limb, rotation, taper

Floats = Any
Rng = np.random.Generator


def _legs(p: Floats, body: Floats, spots: tuple[float, float], high: float, thick: float, rng: Rng) -> Floats:
    """A body with two pairs of legs, at these places along it, from a height down; thick: radius of a leg."""
    for y in spots:
        for s in (-1, 1):
            x = s * rng.uniform(0.8, 1.1) * 4.5
            knee, foot = [1.1 * x, y + rng.uniform(-2, 2), 0.5 * high], [1.1 * x, y + rng.uniform(-3, 3), 1.5]
            body = joined(body, limb(p, [[x, y, high], knee, foot], [1.4 * thick, thick, thick], 0.5), 1.2)
    return body


def dog(p: Floats, rng: Rng) -> Floats:
    """A dog on four legs, its tail in the air."""
    L = rng.uniform(15, 22)
    h = rng.uniform(22, 28)
    body = ellipsoid(p, (0, 0, h), (7, L, 8))
    body = joined(body, taper(p, (0, -L * 0.8, h + 3), (0, -L - 4, h + 11), 5, 4), 3)
    body = joined(body, ellipsoid(p, (0, -L - 7, h + 14), (5, 7, 5)), 2)
    body = joined(
        body,
        limb(
            p,
            np.array([[0, L - 1, h + 3], [0, L + 8, h + rng.uniform(0, 12)], [0, L + 14, h + rng.uniform(-4, 16)]]),
            np.array([2.2, 1.6, 1.2]),
            0.5,
        ),
        1.5,
    )
    return _legs(p, body, (-L * 0.65, L * 0.65), h, 2.4, rng)


def rearing(p: Floats, rng: Rng) -> Floats:
    """A horse that rears on its hind legs."""
    t = rng.uniform(45, 65)
    R = rotation(("x", -t))
    L = rng.uniform(18, 23)
    body = ellipsoid(p, (0, 2, 42), (7.5, L, 8.5), R)
    c = np.cos(np.radians(t))
    s = np.sin(np.radians(t))
    ch = np.array([0, 2 - c * L * 0.8, 42 + s * L * 0.8])
    hip = np.array([0, 2 + c * L * 0.75, 42 - s * L * 0.75])
    hd = ch + [0, rng.uniform(-9, -2), rng.uniform(14, 20)]
    body = joined(body, taper(p, ch, hd, 6.5, 4.2), 3)
    body = joined(body, taper(p, hd, hd + np.array([0, -rng.uniform(8, 12), -rng.uniform(3, 8)]), 4.4, 2.4), 2)
    for sx in (-1, 1):
        body = joined(body, ellipsoid(p, hd + [2.4 * sx, 1, 4.5], (1, 1, 3)), 0.6)
        body = joined(
            body,
            limb(
                p,
                np.array([hip + [4.5 * sx, 0, 0], hip + [5 * sx, -3, -12], [5 * sx, hip[1] + 3, 1.5]]),
                np.array([5, 3, 2.3]),
                0.5,
            ),
            1.5,
        )
        body = joined(
            body,
            limb(
                p,
                np.array(
                    [ch + [4 * sx, 0, -2], ch + [4.5 * sx, -10, rng.uniform(-4, 3)], ch + [4.5 * sx, -12, rng.uniform(-14, -8)]]
                ),
                np.array([3.4, 2.4, 1.8]),
                0.5,
            ),
            1.2,
        )
    return joined(
        body, limb(p, np.array([hip + [0, 3, 2], hip + [0, 12, -4], hip + [0, 14, -18]]), np.array([2.5, 3, 1.5]), 0.5), 1.5
    )


def giraffe(p: Floats, rng: Rng) -> Floats:
    """A giraffe."""
    L = rng.uniform(11, 14)
    h = rng.uniform(38, 44)
    body = ellipsoid(p, (0, 0, h), (6, L, 7))
    top = np.array([0, -L - rng.uniform(6, 12), h + rng.uniform(28, 36)])
    body = joined(body, taper(p, (0, -L * 0.7, h + 2), top, 5, 2.8), 3)
    body = joined(body, taper(p, top, top + np.array([0, -8, -3]), 3.2, 1.8), 1.5)
    for s in (-1, 1):
        body = joined(body, taper(p, top + [1.3 * s, 0, 1], top + [1.6 * s, 1, 6], 0.8, 1), 0.5)
    body = joined(
        body, limb(p, np.array([[0, L - 1, h + 2], [0, L + 3, h - 6], [0, L + 3, h - 16]]), np.array([1.4, 1, 1.4]), 0.5), 1
    )
    return _legs(p, body, (-L * 0.6, L * 0.6), h, 2, rng)


def bull(p: Floats, rng: Rng) -> Floats:
    """A bull with its head lowered."""
    L = rng.uniform(19, 24)
    h = rng.uniform(24, 29)
    body = joined(ellipsoid(p, (0, 3, h), (9, L, 10)), ellipsoid(p, (0, -L * 0.5, h + 4), (9, L * 0.55, 11)), 3)
    hd = np.array([0, -L - 7, h + rng.uniform(-6, 4)])
    body = joined(body, taper(p, (0, -L * 0.7, h + 3), hd + [0, 3, 2], 8, 5.5), 3)
    body = joined(body, taper(p, hd, hd + np.array([0, -5, -8]), 5, 3.2), 2)
    for s in (-1, 1):
        body = joined(
            body, limb(p, hd + np.array([[3 * s, 0, 4], [9 * s, -1, 6], [11 * s, -3, 12]]), np.array([1.8, 1.4, 0.8]), 0.5), 0.8
        )
    body = joined(
        body, limb(p, np.array([[0, L + 2, h + 4], [0, L + 6, h - 8], [0, L + 6, h - 17]]), np.array([1.5, 1.1, 1.6]), 0.5), 1
    )
    return _legs(p, body, (-L * 0.55, L * 0.7), h, 2.8, rng)


def elephant(p: Floats, rng: Rng) -> Floats:
    """An elephant with tusks."""
    L = rng.uniform(17, 21)
    h = rng.uniform(26, 30)
    body = ellipsoid(p, (0, 0, h), (12, L, 12))
    hd = np.array([0, -L - 4, h + 6])
    body = joined(body, ellipsoid(p, hd, (8, 8, 9)), 3)
    body = joined(
        body,
        limb(
            p, hd + np.array([[0, -6, -2], [0, -11, -12], [0, -11 - rng.uniform(-2, 5), -22]]), np.array([3.6, 2.6, 1.9]), 0.6
        ),
        1.5,
    )
    for s in (-1, 1):
        body = joined(body, ellipsoid(p, hd + [10 * s, 5, 0], (6, 1.6, 9), rotation(("z", 20 * s))), 1)
        body = joined(
            body,
            limb(p, hd + np.array([[4 * s, -5, -5], [5 * s, -11, -9], [5 * s, -15, -7]]), np.array([1.4, 1.2, 0.7]), 0.5),
            0.6,
        )
    body = joined(
        body, limb(p, np.array([[0, L - 1, h + 4], [0, L + 3, h - 6], [0, L + 3, h - 14]]), np.array([1.6, 1.2, 1]), 0.5), 1
    )
    return _legs(p, body, (-L * 0.6, L * 0.6), h, 4, rng)


def pig(p: Floats, rng: Rng) -> Floats:
    """A pig."""
    L = rng.uniform(19, 24)
    h = rng.uniform(15, 18)
    body = ellipsoid(p, (0, 0, h), (9.5, L, 10))
    body = joined(body, ellipsoid(p, (0, -L - 2, h + 3), (7, 7.5, 7)), 4)
    body = joined(body, taper(p, (0, -L - 7, h + 2), (0, -L - 12, h + rng.uniform(-3, 1)), 3.8, 3), 1)
    for s in (-1, 1):
        body = joined(body, ellipsoid(p, (5 * s, -L - 2, h + 9.5), (2.4, 1.2, 3.4)), 0.6)
    body = joined(
        body, limb(p, np.array([[0, L - 1, h + 4], [1.5, L + 3, h + 5], [-1, L + 4, h + 2]]), np.array([1.3, 1, 0.8]), 0.4), 0.6
    )
    return _legs(p, body, (-L * 0.6, L * 0.6), h - 2, 2.8, rng)


def camel(p: Floats, rng: Rng) -> Floats:
    """A camel of two humps."""
    L = rng.uniform(16, 20)
    h = rng.uniform(30, 34)
    body = ellipsoid(p, (0, 0, h), (7.5, L, 8))
    for y in (-L * 0.35, L * 0.35):
        body = joined(body, ellipsoid(p, (0, y, h + 9), (4, 5, 6)), 3)
    n = np.array([[0, -L * 0.85, h], [0, -L - 8, h - 2], [0, -L - 12, h + rng.uniform(8, 16)]])
    body = joined(body, limb(p, n, np.array([4.6, 3.6, 3]), 0.6), 2)
    body = joined(body, taper(p, n[-1], n[-1] + [0, -8, -2], 3.4, 2.2), 1.2)
    body = joined(
        body, limb(p, np.array([[0, L - 1, h + 2], [0, L + 2, h - 5], [0, L + 2, h - 13]]), np.array([1.2, 0.9, 1.1]), 0.5), 0.8
    )
    return _legs(p, body, (-L * 0.6, L * 0.6), h, 2.2, rng)
