"""A prop: its mesh as it would lie, and what its parts are made of."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...arrays import Floats
from ...mesh.similarity import rotation_about
from ...mesh.solids import slotted
from ...mesh.topology import joined
from ...mesh.triangles import TriangleMesh
from ...records import record

ALONG_X = rotation_about("y", np.pi / 2)
"""Lays a lathed shape down: what pointed up points along x."""


@record
class Prop:
    """name; mesh in mm resting about z = 0 round the origin, faces by material slot; materials: a name for each slot.

    smooth: whether it is shaded smooth.
    """

    name: str
    mesh: TriangleMesh
    materials: tuple[str, ...]

    @property
    def radius(self) -> float:
        """Of the disc round the origin that holds it, mm."""
        return float(np.linalg.norm(self.mesh.vertices[:, :2], axis=1).max())


def assembled(name: str, parts: Sequence[tuple[TriangleMesh, str]]) -> Prop:
    """A prop from parts and what each is made of, centred, standing on z = 0."""
    materials = tuple(dict.fromkeys(material for _, material in parts))
    mesh = joined([slotted(part, materials.index(material)) for part, material in parts])
    points = np.asarray(mesh.vertices, float)
    middle = 0.5 * (points[:, :2].min(axis=0) + points[:, :2].max(axis=0))
    return Prop(name, TriangleMesh(points - [*middle, points[:, 2].min()], mesh.faces, material=mesh.material), materials)


def profile(points: Sequence[tuple[float, float]], *, steps: int = 6, soft: float = 1.0) -> Floats:
    """A smooth outline (n, 2) through (radius, z) points, by Catmull-Rom pieces; radii never below 0."""
    p = np.asarray(points, float)
    padded = np.concatenate([2 * p[:1] - p[1:2], p, 2 * p[-1:] - p[-2:-1]])
    t = np.linspace(0, 1, steps, endpoint=False)[:, None]
    out = []
    for a, b, c, d in zip(padded, padded[1:], padded[2:], padded[3:], strict=False):
        m, n = 0.5 * soft * (c - a), 0.5 * soft * (d - b)
        out.append((2 * t**3 - 3 * t**2 + 1) * b + (t**3 - 2 * t**2 + t) * m + (3 * t**2 - 2 * t**3) * c + (t**3 - t**2) * n)
    line = np.concatenate([*out, p[-1:]])
    line[:, 0] = np.maximum(line[:, 0], 0.0)
    return line
