"""A glazed white tile with a few dabs of dried paint."""

from __future__ import annotations

import numpy as np

from ....mesh.similarity import rotation_about
from ....mesh.solids import moved, rounded_rectangle, slab, strip_faces
from ....mesh.triangles import TriangleMesh
from ....noise import layered, noise
from ..prop import Prop, assembled

NAME = "palette tile"
TRADES = ("painter",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    side = rng.uniform(74, 98)
    tile = slab(rounded_rectangle(side, side, 1.5, 4), 5.5, rounding=1.2, steps=4)
    parts = [(tile, "white tile")]
    turn = rng.uniform(0.0, 2.0 * np.pi)
    for place in range(int(rng.integers(4, 7))):  # set out along the edge in the order of use, the middle is for mixing
        turn += rng.uniform(0.55, 0.85)
        where = [*(0.34 * side * rng.uniform(0.85, 1.1) * np.array([np.cos(turn), np.sin(turn)])), 5.48]
        drawn = rotation_about("z", turn + np.pi + rng.normal(0.0, 0.35))  # the brush drew some of it to the middle
        paint = ("grey paint", "brown paint", "black paint")[place % 3]
        parts.append((moved(_dab(rng), drawn, where), paint))
    return assembled(NAME, parts)


def _dab(rng: np.random.Generator) -> TriangleMesh:
    """Paint that was put down and drawn out along x by a brush: a dried puddle with a raised rim and a streaky tail."""
    wide, tail, high = rng.uniform(3.0, 5.5), rng.uniform(0.3, 2.6), rng.uniform(0.25, 0.6)
    seed, rings, columns = int(rng.integers(999)), 14, 160
    angle = np.linspace(0.0, 2.0 * np.pi, columns, endpoint=False)
    around = np.column_stack([np.cos(angle), np.sin(angle)])
    ahead = np.clip(around[:, 0], 0.0, 1.0) ** 9
    ragged = 0.10 * noise(1.3 * around[:, 0], 1.3 * around[:, 1], seed=seed)
    ragged += 0.16 * ahead * noise(14.0 * angle, 0.4, seed=seed)
    edge = wide * (1.0 + tail * ahead) * (1.0 + ragged)
    share = np.linspace(1.0, 0.0, rings)[:, None] ** 0.7
    x, y = share * edge * around[:, 0], share * edge * around[:, 1]
    rim = np.sqrt(np.clip(1.0 - share**6, 0.0, 1.0)) * (1.0 + 0.25 * np.exp(-(((share - 0.86) / 0.08) ** 2)))
    drawn = np.clip(1.0 - 0.9 * np.clip((x - 0.6 * wide) / wide, 0.0, 1.0), 0.1, 1.0)  # thin where it was drawn out
    z = high * rim * drawn * (0.9 + 0.14 * layered(x / 2.0, y / 0.7, seed=seed, octaves=3))
    points = np.concatenate([np.stack([x, y, np.maximum(z, 0.0)], -1).reshape(-1, 3), [[0.0, 0.0, 0.0]]])
    k = np.arange(columns)
    under = np.stack([np.full(columns, len(points) - 1), np.roll(k, -1), k], -1)
    return TriangleMesh(points, np.concatenate([strip_faces(rings, columns, closed_columns=True), under]))
