"""Is the outline of a scan round where the scan is, and sharp where it is cut?"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.scene.shots.lens_drivers import KIND
from blender_addon.scene.surface import rounding

pytestmark = pytest.mark.usefixtures("empty_scene")


def made(operator: Any, levels: int, **how: Any) -> Any:
    """A smooth-shaded primitive with the modifier."""
    operator(**how)
    item = bpy.context.object
    item.data.polygons.foreach_set("use_smooth", [True] * len(item.data.polygons))
    rounding.round_outline(item)
    rounding.set_levels(item, levels)
    return item


def as_rendered(item: Any) -> tuple[np.ndarray, np.ndarray]:
    """(n, 3) vertices and (k, 3) corner normals as they are rendered."""
    for modifier in item.modifiers:
        modifier.show_viewport = modifier.show_render
    graph = bpy.context.evaluated_depsgraph_get()
    graph.update()
    mesh = item.evaluated_get(graph).to_mesh()
    points, normals = np.zeros(3 * len(mesh.vertices), np.float32), np.zeros(3 * len(mesh.corner_normals), np.float32)
    mesh.vertices.foreach_get("co", points)
    mesh.corner_normals.foreach_get("vector", normals)
    return points.reshape(-1, 3), normals.reshape(-1, 3)


def test_a_coarse_sphere_becomes_round() -> None:
    """320 triangles leave chords 0.0113 inside the unit sphere; ten times less is left, and nothing stands out further."""
    item = made(bpy.ops.mesh.primitive_ico_sphere_add, 3, subdivisions=3, radius=1.0)
    own = np.array([vertex.co for vertex in item.data.vertices])
    points, _ = as_rendered(item)
    radius = np.linalg.norm(points, axis=1)
    assert 1.0 - radius.min() < 0.0015 and radius.max() - 1.0 < 0.0005
    nearest = np.linalg.norm(own[:, None] - points[None], axis=2).min(axis=1)
    assert nearest.max() < 1e-6  # the scan's own vertices stay where they were


def test_the_shading_keeps_the_normals_that_it_had() -> None:
    """Mixed from those of the corners, as without the modifier: on a sphere they then point away from its middle within 0.3 deg
    (flat triangles mix them to so much)."""
    item = made(bpy.ops.mesh.primitive_ico_sphere_add, 2, subdivisions=4, radius=1.0)
    points, normals = as_rendered(item)
    graph = bpy.context.evaluated_depsgraph_get()
    mesh = item.evaluated_get(graph).to_mesh()
    corner = np.zeros(len(mesh.loops), np.int32)
    mesh.loops.foreach_get("vertex_index", corner)
    away = points[corner] / np.linalg.norm(points[corner], axis=1, keepdims=True)
    assert np.degrees(np.arccos(np.clip((normals * away).sum(axis=1), -1, 1))).max() < 0.3


@pytest.mark.parametrize("shape", ["primitive_cube_add", "primitive_cylinder_add"])
def test_nothing_is_rounded_where_faces_meet_at_an_edge(shape: str) -> None:
    """A filled underside stays flat, or a piece would stand in its table: within the box of the shape, and its faces too."""
    points, _ = as_rendered(made(getattr(bpy.ops.mesh, shape), 2))
    assert np.abs(points).max() <= 1.0 + 1e-6
    flat = points[np.abs(points[:, 2]) > 0.99]
    assert np.abs(np.abs(flat[:, 2]) - 1.0).max() < 1e-6


def test_a_picture_divides_edges_until_they_are_short_in_it() -> None:
    item = made(bpy.ops.mesh.primitive_ico_sphere_add, 0, subdivisions=4, radius=0.04)
    shot = {"bozzetto_field_width_mm": 200.0, KIND: "hero"}
    found = []
    for width in (480, 960, 4000):
        with rounding.rounded([item], shot, (width, width * 2 // 3)):
            found.append(rounding.levels_for(item, 0.2 / width))
            assert item.modifiers[rounding.MODIFIER].show_render == (found[-1] > 0)
    assert found == sorted(found) and found[0] < found[-1]
    assert not item.modifiers[rounding.MODIFIER].show_render
