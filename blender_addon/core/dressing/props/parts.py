"""Parts that several props share: turned handles, ferrules, tufts of hair, blades, twisted string. Lengths in mm."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats
from ...mesh.solids import circle, framed_tube, lathe, moved, slab, strip_faces
from ...mesh.triangles import TriangleMesh, unit
from .prop import ALONG_X, profile


def handle(rng: np.random.Generator, length: float, thick: float, *, neck: float) -> TriangleMesh:
    """A turned handle along x from 0 to `length`, its neck at the far end.

    thick, neck: diameters.
    """
    belly, r = rng.uniform(0.35, 0.6), thick / 2
    outline = profile([
        (0.0, 0.0), (0.62 * r, 0.4), (0.86 * r, 2.0), (r * rng.uniform(0.9, 1.0), 0.2 * length), (r, belly * length),
        (r * rng.uniform(0.72, 0.85), 0.8 * length), (neck / 2, 0.97 * length), (neck / 2, length), (0.0, length),
    ])  # fmt: skip
    return moved(lathe(outline, sides=28), ALONG_X)


def ferrule(start: float, end: float, wide: float, narrow: float) -> TriangleMesh:
    """A metal sleeve along x with two rolled rings.

    start, end: its ends on the x axis. wide, narrow: its diameters there.
    """
    a, b = wide / 2, narrow / 2
    z = np.linspace(start, end, 40)
    r = a + (b - a) * (z - start) / (end - start)
    for ring in (0.2, 0.32, 0.8):
        r = r - 0.25 * np.exp(-((((z - start) / (end - start) - ring) / 0.03) ** 2))
    outline = np.concatenate([[[0.0, start]], np.column_stack([r, z]), [[0.0, end]]])
    return moved(lathe(outline, sides=28), ALONG_X)


def tuft(rng: np.random.Generator, start: float, length: float, radius: float) -> TriangleMesh:
    """A tuft: a body that narrows to a point, fluted into strands, bent to one side by use.

    start: its root on the x axis. length, radius: of the tuft.
    """
    rows, columns = 26, 72
    s = np.linspace(0, 1, rows)[:, None]
    angle = np.linspace(0, 2 * np.pi, columns, endpoint=False)[None]
    body = radius * (1 + 0.35 * np.sin(np.pi * np.minimum(1.15 * s, 1.0))) * np.sqrt(np.clip(1 - s**2.6, 0.0, 1.0))
    strands = 0.10 * np.sin(11 * angle + 1.3 * s) + 0.06 * np.sin(23 * angle - 2 * s) + 0.05 * np.sin(36 * angle)
    ring = body * (1 + strands * s**0.5)
    bend = rng.uniform(-0.16, 0.16) * length * s**2
    points = np.stack(
        [start + length * s + 0 * angle, ring * np.cos(angle) + bend, ring * np.sin(angle) - 0.05 * length * s**2], -1
    )
    flat = points.reshape(-1, 3)
    return TriangleMesh(flat, strip_faces(rows, columns, closed_columns=True))


def blade_of(outline: Floats, thickness: float) -> TriangleMesh:
    """A flat blade of an outline (n, 2), its edges rounded off."""
    return slab(outline, thickness, rounding=0.45 * thickness, steps=2)


def twisted(path: Floats, thick: float) -> TriangleMesh:
    """Two plies wound round each other along a path."""
    length = np.concatenate([[0.0], np.cumsum(np.linalg.norm(np.diff(path, axis=0), axis=1))])
    place = np.arange(0.0, length[-1], 0.42 * thick)
    path = np.stack([np.interp(place, length, path[:, axis]) for axis in range(3)], axis=1)
    ahead = unit(np.gradient(path, axis=0))
    side = unit(np.cross(ahead, [0.0, 0.0, 1.0]))
    above = np.cross(side, ahead)
    angle = (2 * np.pi / (3.4 * thick) * place)[:, None]
    ply = circle(1.0, 14)
    ply *= (0.36 + 0.64 * np.abs(np.cos(np.linspace(0, 2 * np.pi, 14, endpoint=False))) ** 0.8)[:, None]
    across, over = np.cos(angle) * side + np.sin(angle) * above, np.cos(angle) * above - np.sin(angle) * side
    return framed_tube(path, ply, np.full((len(path), 2), thick / 2), across, over)
