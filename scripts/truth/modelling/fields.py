"""Signed distances and noise on points: the forms that the made-up pieces are modelled from. Millimetres, numpy only."""

from __future__ import annotations

from typing import Any

import numpy as np

Floats = Any
Ints = Any
"""Arrays of float64; points are (n, 3)."""


def ellipsoid(points: Floats, centre: Floats, radii: Floats, turn: Floats | None = None) -> Floats:
    """(n,) approximate distance to an ellipsoid, negative inside. turn: (3, 3) rotation from its own frame to the piece's."""
    local = points - np.asarray(centre, float)
    if turn is not None:
        local = local @ turn
    scaled = np.linalg.norm(local / radii, axis=1)
    slope = np.linalg.norm(local / np.square(radii), axis=1)
    return (scaled - 1.0) * np.where(slope > 1e-9, scaled / np.maximum(slope, 1e-9), np.min(radii))


def taper(points: Floats, start: Floats, end: Floats, first: float, last: float) -> Floats:
    """(n,) distance to a straight limb whose radius runs from `first` to `last`."""
    start, end = np.asarray(start, float), np.asarray(end, float)
    axis = end - start
    along = np.clip((points - start) @ axis / (axis @ axis), 0.0, 1.0)
    return np.linalg.norm(points - start - along[:, None] * axis, axis=1) - (first + (last - first) * along)


def limb(points: Floats, path: Floats, radii: Floats, blend: float = 0.6) -> Floats:
    """(n,) distance to a bent limb through the points `path` (k, 3) with the radii (k,)."""
    found = None
    for place in range(len(path) - 1):
        part = taper(points, path[place], path[place + 1], radii[place], radii[place + 1])
        found = part if found is None else joined(found, part, blend)
    return found


def with_limb(points: Floats, body: Floats, path: Floats, radii: Floats, *, fillet: float, blend: float = 0.5) -> Floats:
    """(n,) distance to a body (n,) with a bent limb grown from it: a leg, a tail, a horn; path, radii: as in `limb`."""
    return joined(body, limb(points, path, radii, blend), fillet)


def box(points: Floats, centre: Floats, half: Floats, rounding: float = 0.0, turn: Floats | None = None) -> Floats:
    """(n,) distance to a box with rounded edges; half: (3,) half sizes over all."""
    local = points - np.asarray(centre, float)
    if turn is not None:
        local = local @ turn
    over = np.abs(local) - (np.asarray(half, float) - rounding)
    return np.linalg.norm(np.maximum(over, 0.0), axis=1) + np.minimum(over.max(axis=1), 0.0) - rounding


def joined(a: Floats, b: Floats, radius: float) -> Floats:
    """Union with a fillet of about `radius` (cubic smooth minimum)."""
    reach = np.maximum(radius - np.abs(a - b), 0.0) / radius
    return np.minimum(a, b) - reach**3 * radius / 6.0


def cut(a: Floats, b: Floats, radius: float) -> Floats:
    """The part of a outside b, edges rounded."""
    return -joined(-a, b, radius)


def both(a: Floats, b: Floats, radius: float) -> Floats:
    """The part inside a and b, edges rounded."""
    return -joined(-a, -b, radius)


def ramp(values: Floats, low: float, high: float) -> Floats:
    """0 at `low`, 1 at `high`, smooth between."""
    share = np.clip((values - low) / (high - low), 0.0, 1.0)
    return share * share * (3.0 - 2.0 * share)


def rotation(*turns: tuple[str, float]) -> Floats:
    """(3, 3) product of turns about axes, in degrees, the last one applied first."""
    matrix = np.eye(3)
    for axis, degrees in turns:
        angle = np.radians(degrees)
        cosine, sine = np.cos(angle), np.sin(angle)
        corner_values = {
            "x": [[1, 0, 0], [0, cosine, -sine], [0, sine, cosine]],
            "y": [[cosine, 0, sine], [0, 1, 0], [-sine, 0, cosine]],
            "z": [[cosine, -sine, 0], [sine, cosine, 0], [0, 0, 1]],
        }[axis]
        matrix = matrix @ np.array(corner_values, float)
    return matrix


class Noise:
    """Smooth noise in space: a random lattice, repeated, blended by quadratic B-splines (no creases at the cells)."""

    def __init__(self, seed: int, size: int = 32):
        self.size = size
        self.lattice = np.random.default_rng(seed).standard_normal((size, size, size))

    def __call__(self, points: Floats, period: float, *, octaves: int = 1, gain: float = 0.5) -> Floats:
        """(n,) values of about unit spread; period: size of the largest lumps, in the points' unit."""
        total, weight, power = np.zeros(len(points)), 1.0, 0.0
        for octave in range(octaves):
            total += weight * self._single(points * (2.0**octave / period) + 7.31 * octave)
            power += weight * weight
            weight *= gain
        return total / (0.42 * np.sqrt(power))

    def _single(self, places: Floats) -> Floats:
        base = np.floor(places + 0.5).astype(np.int64)
        off = places - base
        weights = np.stack([0.5 * (0.5 - off) ** 2, 0.75 - off**2, 0.5 * (0.5 + off) ** 2])
        flat = self.lattice.ravel()
        total = np.zeros(len(places))
        steps = [[(base[:, axis] + step) % self.size for step in (-1, 0, 1)] for axis in range(3)]
        for i in range(3):
            for j in range(3):
                row = (steps[0][i] * self.size + steps[1][j]) * self.size
                across = weights[i][:, 0] * weights[j][:, 1]
                for k in range(3):
                    total += across * weights[k][:, 2] * flat[row + steps[2][k]]
        return total
