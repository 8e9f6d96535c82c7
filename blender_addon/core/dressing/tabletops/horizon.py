"""Where does a table end, so that its far edge lies at one height of the hero's frame whatever the size of the piece?"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...mesh.triangles import TriangleMesh
from ...shots.sight import ShotView

HORIZON = 0.66
"""Height, as a share of the hero's frame, at which its table ends, the same for pieces of all sizes. Set by eye: the room is
seen above it, the work below."""


def horizon_back(views: Sequence[ShotView], *, least: float, height: float = 0.0) -> float | None:
    """Where (y, mm) the table ends so that its edge lies at `HORIZON` in the middle of the hero's frame; None without a hero
    that looks from in front and down. least: the nearest that it may end behind the subject; height: of the edge, mm.
    """
    hero = next((view for view in views if view.kind == "hero"), None)
    if hero is None:
        return None
    ahead = hero.axis + (2.0 * HORIZON - 1.0) * hero.half_slopes[1] * hero.rotation[:, 1]
    if ahead[2] > -0.02 or ahead[1] < 0.5:
        return None
    return max(float(hero.position[1] + (hero.position[2] - height) / -ahead[2] * ahead[1]), least)


def seen_width(views: Sequence[ShotView], back: float | None) -> float:
    """Width (mm) that a table ending at `back` needs so that the hero's frame shows none of its far corners."""
    hero = next((view for view in views if view.kind == "hero"), None)
    if hero is None or back is None:
        return 0.0
    edges = []
    for side in (-1.05, 1.05):
        ahead = hero.axis + hero.rotation[:, :2] @ (np.array([side, 2.0 * HORIZON - 1.0]) * hero.half_slopes)
        edges.append(abs(hero.position[0] + (back - hero.position[1]) / max(ahead[1], 0.3) * ahead[0]))
    return 2.0 * float(max(edges)) + 60.0


def ended_at_horizon(mesh: TriangleMesh, back: float, views: Sequence[ShotView]) -> TriangleMesh:
    """The table stretched or shortened at its far end, so that the edge, settled under the subject as it is, lies at the
    horizon."""
    points = np.asarray(mesh.vertices, float).copy()
    edge = points[points[:, 1] > back - 30.0]
    wanted = horizon_back(views, least=0.8 * back, height=float(np.median(edge[edge[:, 2] > np.median(edge[:, 2]) - 10.0, 2])))
    if wanted is None or not len(edge):
        return mesh
    points[:, 1] += (wanted - back) * np.clip((points[:, 1] - 0.4 * back) / (0.6 * back), 0.0, 1.0)
    return replace(mesh, vertices=points)
