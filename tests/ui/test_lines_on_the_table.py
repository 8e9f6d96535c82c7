"""At what height are lines drawn on the table?"""

from __future__ import annotations

import bpy
import numpy as np
import pytest

from blender_addon.ui.overlays.subject_lines import _world, surface_level

pytestmark = pytest.mark.usefixtures("empty_scene")


def table(*heights_mm: float) -> bpy.types.Object:
    """Squares of 100 mm side by side along x, each at its height; the first round the origin."""
    corners = [(-0.05, -0.05), (0.05, -0.05), (0.05, 0.05), (-0.05, 0.05)]
    places = [(x + 0.1 * at, y, height / 1000.0) for at, height in enumerate(heights_mm) for x, y in corners]
    mesh = bpy.data.meshes.new("Table")
    mesh.from_pydata(places, [], [tuple(range(4 * at, 4 * at + 4)) for at in range(len(heights_mm))])
    return bpy.data.objects.new("Table", mesh)


@pytest.mark.parametrize(
    ("heights", "half", "expected"),
    [
        ((0.0, 1.5), 160.0, 1.5),  # a board that stands out
        ((0.0, -1.5), 160.0, 0.0),  # never under the foot
        ((0.0, 1.5), 60.0, 1.5),  # its near edge lies at 50 mm
        ((0.0, 0.0, 1.5), 100.0, 0.0),  # it lies outside of the square
        ((0.0, 40.0), 160.0, 0.0),  # paper that curves up behind
    ],
)
def test_lines_lie_on_the_highest_board_and_on_no_backdrop(heights: tuple[float, ...], half: float, expected: float) -> None:
    found = surface_level(table(*heights), np.zeros(2), half, 0.0)
    assert found == pytest.approx(expected, abs=1e-4)


def test_without_a_table_they_lie_at_the_foot() -> None:
    assert surface_level(None, np.zeros(2), 100.0, 3.0) == 3.0


def test_each_triangle_is_flat_or_smooth_as_its_face_is() -> None:
    item = table(0.0, 1.5)
    item.data.polygons[0].use_smooth, item.data.polygons[1].use_smooth = True, False
    vertices, triangles, flat = _world(item)
    assert len(vertices) == 8 and flat.tolist() == [bool(triangle.min() >= 4) for triangle in triangles] and flat.any()
