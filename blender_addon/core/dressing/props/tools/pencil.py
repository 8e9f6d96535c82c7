"""A six-sided pencil, used and sharpened with a knife."""

from __future__ import annotations

import numpy as np

from ....arrays import Floats
from ....mesh.similarity import rotation_about
from ....mesh.solids import lathe, moved, strip_faces
from ....mesh.triangles import TriangleMesh
from ..prop import ALONG_X, Prop, assembled

NAME = "pencil"
TRADES = (
    "potter",
    "carver",
    "plaster",
    "conservator",
)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    length, across = rng.uniform(85, 165), 7.2
    cone, point = rng.uniform(17, 22), rng.uniform(5.0, 7.5)
    body, bare = _sharpened(rng, across, length, cone)
    tip = np.array([[1.2, 0.0], [1.15, 0.4], [0.45, point], [0.25, point + 0.4], [0.0, point + 0.5]]) + [
        0.0,
        length + cone - 0.5,
    ]
    lead = moved(lathe(tip, sides=16), ALONG_X)
    end = moved(lathe(np.array([[0.0, -0.25], [1.1, -0.2], [1.1, 0.3], [0.0, 0.3]]), sides=16), ALONG_X)
    paint = str(rng.choice(["yellow lacquer", "green lacquer", "red lacquer", "black lacquer"]))
    roll = rotation_about("x", np.pi / 6)  # lies on a flat
    return assembled("pencil", [(moved(part, roll), material) for part, material in (
        (body, paint), (bare, "bare wood"), (lead, "graphite"), (end, "graphite"))])  # fmt: skip


def _sharpened(rng: np.random.Generator, across: float, length: float, cone: float) -> tuple[TriangleMesh, TriangleMesh]:
    """The lacquered body along x from 0, and the bare wood of its cone: they meet where the cone leaves the six flats, in a
    scalloped line, without a step.

    across: of the flats, mm. length: to where the cone begins at the corners, mm. cone: its length, mm.
    """
    columns, side, start = 96, np.pi / 3, rng.uniform(0, 6)
    angle = 2.0 * np.pi * np.arange(columns) / columns
    corner = 0.985 * across / np.sqrt(3)
    six = np.minimum(across / 2 / np.cos(np.mod(angle + side / 2, side) - side / 2), corner)
    cuts = 0.35 * np.sin(3 * angle + start) + 0.25 * np.sin(7 * angle + 2 * start)  # by a knife, mm
    starts = length + cone * (corner - six) / (corner - 1.25) + cuts
    level = np.zeros_like(six)
    rows = [(level, level), (level, 0.93 * six), (level + 0.5, six), (level + 0.5 * length, six), (starts, six)]
    s = np.linspace(0.0, 1.0, 14)[:, None]
    facets = 1.0 - 0.03 * np.sin(np.pi * s) * np.sin(5 * angle + 4 * s + start)
    wood = list(zip(starts + (length + cone - starts) * s, (six + (1.25 - six) * s) * facets, strict=True))
    wood.append((length + cone + 0.0 * six, 0.0 * six))
    return _turned(rows, angle), _turned(wood, angle)


def _turned(rows: list[tuple[Floats, Floats]], angle: Floats) -> TriangleMesh:
    """A surface round the x axis through rows of places along it and radii, both (k,), at the angles (k,)."""
    points = [np.column_stack([x, r * np.cos(angle), r * np.sin(angle)]) for x, r in rows]
    return TriangleMesh(np.concatenate(points), strip_faces(len(rows), len(angle), closed_columns=True))
