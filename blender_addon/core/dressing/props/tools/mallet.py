"""A carver's turned mallet, its head dented by use."""

from __future__ import annotations

import numpy as np

from ....mesh.solids import lathe, moved
from ....mesh.triangles import TriangleMesh
from ....noise import noise
from ..prop import ALONG_X, Prop, assembled, profile

NAME = "mallet"
TRADES = ("carver",)


def make(rng: np.random.Generator) -> Prop:
    """One individual, random by the generator."""
    head, wide = rng.uniform(88, 105), rng.uniform(29, 36)
    grip = rng.uniform(95, 115)
    outline = profile([
        (0.0, 0.0), (10.5, 0.6), (12.5, 4.0), (11.0, 0.35 * grip), (13.0, 0.7 * grip), (10.0, grip),
        (0.8 * wide, grip + 2.0), (0.86 * wide, grip + 6.0), (wide, grip + 0.8 * head), (0.95 * wide, grip + head - 3.0),
        (0.8 * wide, grip + head), (0.0, grip + head + 1.0),
    ])  # fmt: skip
    body = lathe(outline, sides=96)
    points = np.asarray(body.vertices, float).copy()
    on_head = np.clip((points[:, 2] - grip - 10.0) / 10.0, 0, 1)
    angle = np.arctan2(points[:, 1], points[:, 0])
    dents = noise(angle * wide / 6.0, points[:, 2] / 6.0, seed=int(rng.integers(999)))
    points[:, :2] *= (1.0 - 0.02 * on_head * np.clip(dents, 0, 1))[:, None]
    return assembled(NAME, [(moved(TriangleMesh(points, body.faces), ALONG_X), str(rng.choice(["beech", "boxwood"])))])
