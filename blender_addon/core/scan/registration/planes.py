"""Which flat faces does a scan have, and which box encloses each? They give starting poses."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...mesh.polygon import plane_axes
from ...records import record
from .surfels import Surfels


@record
class Flat:
    """A flat face: outward normal (3,), share of the surface, and the smallest box round its outline.

    centre: (3,) of the box, on the plane. axes: (2, 3) along its edges, axes[0] x axes[1] = normal. edges: (2,) lengths.
    radius: of the disc of the outline's area.
    """

    normal: Floats
    share: float
    centre: Floats
    axes: Floats
    edges: Floats
    radius: float


def flat_faces(surfels: Surfels, *, count: int, seed: int, least: float = 0.03, rounds: int = 250) -> list[Flat]:
    """The largest flat faces of a scan, largest first, by random sampling of three points (RANSAC, Fischler & Bolles 1981).

    surfels: of the scan. count: how many faces at most. seed, rounds: of the sampling.
    least: share of all points below which a plane is not a face.
    """
    random = np.random.default_rng(seed)
    tolerance = 0.006 * surfels.size
    part = surfels.part(np.arange(min(len(surfels), 2500)))
    left = np.ones(len(part), bool)
    found = []
    for _ in range(count):
        if left.sum() < max(24, least * len(part)):
            break
        points, normals = part.points[left], part.normals[left]
        normal, level = _largest(points, normals, tolerance, random, rounds)
        on = (np.abs(points @ normal - level) < tolerance) & (normals @ normal > 0.85)
        if on.sum() < least * len(part):
            break
        found.append(_described(points[on], normal, float(on.sum()) / len(part)))
        near = (np.abs(part.points @ normal - level) < 2.0 * tolerance) & (part.normals @ normal > 0.7)
        left &= ~near
    return found


def _largest(
    points: Floats, normals: Floats, tolerance: float, random: np.random.Generator, rounds: int
) -> tuple[Floats, float]:
    picked = random.integers(0, len(points), (rounds, 3))
    guess = np.cross(points[picked[:, 1]] - points[picked[:, 0]], points[picked[:, 2]] - points[picked[:, 0]])
    guess /= np.maximum(np.linalg.norm(guess, axis=1, keepdims=True), 1e-30)
    guess *= np.where(np.einsum("ij,ij->i", guess, normals[picked[:, 0]]) < 0, -1.0, 1.0)[:, None]
    level = np.einsum("ij,ij->i", guess, points[picked[:, 0]])
    on = (np.abs(points @ guess.T - level) < tolerance) & (normals @ guess.T > 0.85)
    best = int(np.argmax(on.sum(axis=0)))
    normal, inside = guess[best], on[:, best]
    for _ in range(4):
        centre = points[inside].mean(axis=0)
        fitted = np.linalg.svd(points[inside] - centre, full_matrices=False)[2][2]
        normal = fitted if fitted @ normal > 0 else -fitted
        inside = (np.abs((points - centre) @ normal) < tolerance) & (normals @ normal > 0.85)
        if inside.sum() < 8:
            return guess[best], float(level[best])
    return normal, float(points[inside].mean(axis=0) @ normal)


def _described(points: Floats, normal: Floats, share: float) -> Flat:
    """The flat face with the smallest of the boxes turned by 3 degrees each; outliers of 0.4 % a side left out."""
    axes = plane_axes(normal)
    flat = points @ axes.T
    angle = np.radians(np.arange(0.0, 90.0, 3.0))
    cosine, sine = np.cos(angle), np.sin(angle)
    along = flat[:, :1] * cosine + flat[:, 1:] * sine
    across = flat[:, 1:] * cosine - flat[:, :1] * sine
    (low_u, high_u), (low_v, high_v) = (np.quantile(values, (0.004, 0.996), axis=0) for values in (along, across))
    place = int(np.argmin((high_u - low_u) * (high_v - low_v)))
    first = axes[0] * cosine[place] + axes[1] * sine[place]
    second = axes[1] * cosine[place] - axes[0] * sine[place]
    middle = 0.5 * (low_u + high_u)[place] * first + 0.5 * (low_v + high_v)[place] * second
    edges = np.array([(high_u - low_u)[place], (high_v - low_v)[place]])
    reach = np.quantile(np.linalg.norm(flat - flat.mean(axis=0), axis=1), 0.95)
    return Flat(
        normal, share, middle + float(points.mean(axis=0) @ normal) * normal, np.stack([first, second]), edges, float(reach)
    )
