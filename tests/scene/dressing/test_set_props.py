"""How does a prop come to rest?"""

from __future__ import annotations

import numpy as np

from blender_addon.core.dressing.compose import Spot
from blender_addon.core.mesh.solids import ball, moved, rounded_rectangle, slab
from blender_addon.core.mesh.topology import joined
from blender_addon.scene.dressing.set_props import settled

ROD = slab(rounded_rectangle(100.0, 8.0, 2.0, 3), 6.0)
KNOB = moved(ball(5), np.eye(3) * 1.5, [49.0, 0.0, 3.0])
"""A tip that is modelled with a hundred times the vertices of the rod, and weighs nothing beside it."""


def test_a_rod_rests_where_its_mass_is_not_where_its_vertices_are() -> None:
    """Six tenths of it lie on the step; its finely modelled tip hangs over: it stays level."""

    def heights(xy: np.ndarray) -> np.ndarray:
        return np.where(xy[:, 0] < 10.0, 4.0, 0.0)

    matrix, gap = settled(joined([ROD, KNOB]), Spot(np.zeros(2), 0.0, ()), heights)
    assert matrix[2, 2] > np.cos(np.radians(0.5)), "it tips over the edge"
    assert abs(matrix[2, 3] - 4.0) < 0.05
    assert gap < 0.05
