"""How upright does a spoiled scan stand? Random poses, noise, and a tenth of all vertices thrown off by up to 6 mm."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import bpy  # noqa: F401 - Blender's own modules can be imported only after it
import numpy as np

from blender_addon.core.mesh.topology import submesh
from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.scan.support_plane import supports
from blender_addon.scene.scan.hull import hull_triangles

from .. import Record

OUTLIERS, THROWN_MM = 0.1, 6.0


def add_tilt(record: Record, case: str, mesh: TriangleMesh, underside: Any, turns: list[Any], *, noise: float) -> None:
    """The median and the worst tilt over the turns (3, 3) of a mesh that stands on z = 0.

    underside: (m,) bool, the faces that every other scan lacks.
    """
    off = []
    for number, turn in enumerate(turns):
        random = np.random.default_rng([number, *case.encode()])
        seen = submesh(mesh, ~underside) if number % 2 else mesh
        spots = np.asarray(seen.vertices, float) + random.normal(0.0, noise, (len(seen.vertices), 3))
        thrown = random.random(len(spots)) < OUTLIERS
        spots[thrown] += random.uniform(-THROWN_MM, THROWN_MM, (int(thrown.sum()), 3))
        up = supports(replace(seen, vertices=spots @ turn.T), hull_triangles)[0].up
        truth = turn[:, 2]
        off.append(float(np.degrees(np.arctan2(np.linalg.norm(np.cross(up, truth)), up @ truth))))
    record.add("tilt_deg", float(np.median(off)), case=case, unit="deg", goal="< 0.3")
    record.add("tilt_deg_worst", max(off), case=case, unit="deg")
