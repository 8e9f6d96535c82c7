"""A few pellets of the work's clay, rolled between the fingers to be laid onto it."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import ball, cut_flat
from ....mesh.triangles import TriangleMesh, unit
from ....noise import noise
from ..prop import Prop, assembled

NAME = "pellets"
TRADES = ("potter",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    parts, place, way = [], np.zeros(2), rng.uniform(0.0, 2.0 * np.pi)
    for _ in range(int(rng.integers(3, 5))):
        radius, seed = rng.uniform(3.6, 5.6), int(rng.integers(999))
        mesh = ball(4)
        p = mesh.vertices * radius * rng.uniform((0.95, 0.9, 0.82), (1.15, 1.0, 0.92))
        uneven = noise(p[:, 0] / 3.1 + p[:, 2] / 4.3, p[:, 1] / 3.4 - p[:, 2] / 3.7, seed=seed)
        p = p + unit(p) * (0.28 * uneven)[:, None]
        mesh = cut_flat(
            TriangleMesh(np.asarray(p, float), mesh.faces), np.array([0.0, 0.0, -1.0]), rng.uniform(0.72, 0.8) * radius
        )
        low = float(mesh.vertices[:, 2].min())
        parts.append((TriangleMesh(mesh.vertices + [*place, -low], mesh.faces), "clay"))
        way += rng.uniform(0.5, 1.6) * rng.choice([-1.0, 1.0])
        place = place + rng.uniform(13.0, 15.0) * np.array([np.cos(way), 0.8 * np.sin(way)])
    return assembled(NAME, _apart(parts))


def _apart(parts: list[tuple[TriangleMesh, str]]) -> list[tuple[TriangleMesh, str]]:
    """Those of the parts that lie clear of all before them."""
    kept: list[tuple[TriangleMesh, str]] = []
    for mesh, material in parts:
        middle = mesh.vertices[:, :2].mean(axis=0)
        if all(np.linalg.norm(middle - other.vertices[:, :2].mean(axis=0)) > 12.6 for other, _ in kept):
            kept.append((mesh, material))
    return kept
