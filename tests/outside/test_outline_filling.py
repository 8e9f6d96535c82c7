"""Are outlines filled as Blender's `tessellate_polygon` fills them, and closed where that leaves them open?"""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from blender_addon.core.arrays import Floats, Ints
from blender_addon.core.mesh.polygon import fill_loops

pytest.importorskip("bpy")
from mathutils import Vector
from mathutils.geometry import tessellate_polygon

UP = np.array([0.0, 0.0, 1.0])


def blender_s(loops: list[Ints], points: Floats) -> Ints:
    """Blender's triangles (t, 3) of loops in the plane z = 0, counter-clockwise."""
    placed = tessellate_polygon([[Vector(point) for point in points[loop]] for loop in loops])
    triangles = np.concatenate(loops)[np.array(placed, int)]
    triangles[areas(triangles, points) < 0] = triangles[areas(triangles, points) < 0][:, ::-1]
    return triangles


def areas(triangles: Ints, points: Floats) -> Floats:
    a, b, c = (points[triangles[:, corner]] for corner in range(3))
    return 0.5 * np.cross(b - a, c - a)[:, 2]


def open_edges(triangles: Ints, loops: list[Ints]) -> int:
    """Edges of the loops that are not in just one triangle, and inner edges that do not join two."""
    pairs = Counter(map(tuple, np.concatenate([triangles[:, [0, 1]], triangles[:, [1, 2]], triangles[:, [2, 0]]]).tolist()))
    rim = {(int(a), int(b)) for loop in loops for a, b in zip(loop, np.roll(loop, -1), strict=True)}
    inner = [pair for pair in pairs if pair not in rim and not pairs[pair] == pairs[pair[::-1]] == 1]
    return sum(pairs[pair] != 1 for pair in rim) + len(inner)


def outline(count: int, radius: Floats | float, *, turns: float = 1.0) -> Floats:
    angle = turns * np.linspace(0.0, 2 * np.pi, count, endpoint=False)
    return np.stack([radius * np.cos(angle), radius * np.sin(angle), 0 * angle], axis=1)


@pytest.mark.parametrize("seed", range(5))
def test_outlines_with_and_without_a_hole_are_filled_as_by_blender(seed: int) -> None:
    rng = np.random.default_rng(seed)
    star = outline(120, 30.0 * (1.0 + 0.3 * rng.random(120)))
    points = np.concatenate([star, outline(60, 12.0 * (1.0 + 0.1 * rng.random(60)), turns=-1.0)])
    for loops in ([np.arange(120)], [np.arange(120), np.arange(120, 180)]):
        ours, theirs = fill_loops(loops, points, UP), blender_s(loops, points)
        assert len(ours) == len(theirs) and areas(ours, points).sum() == pytest.approx(areas(theirs, points).sum(), rel=1e-6)
        assert open_edges(ours, loops) == open_edges(theirs, loops) == 0


def test_outlines_that_touch_or_cross_themselves_are_closed_by_ours_alone() -> None:
    """The lines on which scans are cut do so now and then. The day Blender closes these, ours can go."""
    touching = outline(80, 30.0)
    touching[41] = touching[40]
    rng = np.random.default_rng(0)
    crossing = outline(200, 30.0) + 2.0 * np.c_[rng.standard_normal((200, 2)), np.zeros(200)]
    for points in (touching, crossing):
        loops = [np.arange(len(points))]
        assert open_edges(fill_loops(loops, points, UP), loops) == 0
        assert open_edges(blender_s(loops, points), loops) > 0
