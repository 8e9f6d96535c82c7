"""Is the outline of a scan round where the scan is, and sharp where it is cut? Does its relief stand out as it should?"""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.scene import images
from blender_addon.scene.nodes.materials import Maps, MaterialSurface, make_material
from blender_addon.scene.shots.lens_drivers import KIND
from blender_addon.scene.surface import rendered_form

pytestmark = pytest.mark.usefixtures("empty_scene")


def smooth_primitive(operator: Any, levels: int, **how: Any) -> Any:
    """A smooth-shaded primitive with the modifier."""
    operator(**how)
    item = bpy.context.object
    item.data.polygons.foreach_set("use_smooth", [True] * len(item.data.polygons))
    rendered_form.give_form(item)
    rendered_form.set_form(item, levels, 0.0)
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
    item = smooth_primitive(bpy.ops.mesh.primitive_ico_sphere_add, 3, subdivisions=3, radius=1.0)
    own = np.array([vertex.co for vertex in item.data.vertices])
    points, _ = as_rendered(item)
    radius = np.linalg.norm(points, axis=1)
    assert 1.0 - radius.min() < 0.0015 and radius.max() - 1.0 < 0.0005
    nearest = np.linalg.norm(own[:, None] - points[None], axis=2).min(axis=1)
    assert nearest.max() < 1e-6  # the scan's own vertices stay where they were


def test_the_shading_keeps_the_normals_that_it_had() -> None:
    """Mixed from those of the corners, as without the modifier: on a sphere they then point away from its middle within 0.3 deg
    (flat triangles mix them to so much)."""
    item = smooth_primitive(bpy.ops.mesh.primitive_ico_sphere_add, 2, subdivisions=4, radius=1.0)
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
    points, _ = as_rendered(smooth_primitive(getattr(bpy.ops.mesh, shape), 2))
    assert np.abs(points).max() <= 1.0 + 1e-6
    flat = points[np.abs(points[:, 2]) > 0.99]
    assert np.abs(np.abs(flat[:, 2]) - 1.0).max() < 1e-6


def test_a_picture_divides_edges_until_they_are_short_in_it() -> None:
    item = smooth_primitive(bpy.ops.mesh.primitive_ico_sphere_add, 0, subdivisions=4, radius=0.04)
    shot = {"bozzetto_field_width_mm": 200.0, KIND: "hero"}
    found = []
    for width in (480, 960, 4000):
        with rendered_form.rendered_form([item], shot, (width, width * 2 // 3)):
            found.append(rendered_form.levels_for(item, 0.2 / width))
            assert item.modifiers[rendered_form.MODIFIER].show_render == (found[-1] > 0)
    assert found == sorted(found) and found[0] < found[-1]
    assert not item.modifiers[rendered_form.MODIFIER].show_render


def raised_sphere(strength: float) -> Any:
    """A sphere of 20 mm with a relief of waves, 0.4 mm high and low, in bands of latitude; its UV layer has seams."""
    bpy.ops.mesh.primitive_uv_sphere_add(segments=64, ring_count=48, radius=0.02)
    item = bpy.context.object
    item.data.polygons.foreach_set("use_smooth", [True] * len(item.data.polygons))
    height = np.repeat(0.4 * np.sin(8 * np.pi * (np.arange(256) + 0.5) / 256)[:, None, None], 256, axis=1)
    image = images.make_image("height", np.repeat(height, 3, axis=2).astype(np.float32), data=True, floating=True)
    material = make_material("own", MaterialSurface("clay"), Maps(height=image, strength=strength))
    item.data.materials.append(material)
    rendered_form.give_form(item, image, "UVMap")
    return item


@pytest.mark.parametrize("strength", [0.0, 0.5, 1.0])
def test_relief_is_raised_by_its_height_and_the_shading_keeps_its_normals(strength: float) -> None:
    """Heights are read on the circles of latitude, where each point's place in the picture is known: half a pixel there is
    0.03 of a wave, 0.08 mm at most; the chords of the sphere between its own points lie 0.05 mm inside it."""
    item = raised_sphere(strength)
    rendered_form.set_form(item, 1, rendered_form.raised_by(item))
    points, normals = as_rendered(item)
    radius = 1000 * np.linalg.norm(points, axis=1)
    latitude = 0.5 + np.arcsin(np.clip(points[:, 2] / np.linalg.norm(points, axis=1), -1, 1)) / np.pi
    inner = np.abs(latitude - 0.5) < 0.47
    assert np.abs(radius - 20 - strength * 0.4 * np.sin(8 * np.pi * latitude))[inner].max() < 0.05 + 0.08 * strength
    graph = bpy.context.evaluated_depsgraph_get()
    mesh = item.evaluated_get(graph).to_mesh()
    corner = np.zeros(len(mesh.loops), np.int32)
    mesh.loops.foreach_get("vertex_index", corner)
    away = points[corner] / np.linalg.norm(points[corner], axis=1, keepdims=True)
    off = np.degrees(np.arccos(np.clip((normals * away).sum(axis=1), -1, 1)))
    assert off[inner[corner]].max() < 1.0  # the waves are tilted by 30 degrees


def test_a_painted_mask_calms_the_relief_and_seams_stay_closed() -> None:
    """Black takes it away. Points on the seam of the UV layer are single points still, so nothing gapes."""
    item = raised_sphere(1.0)
    count = len(item.data.vertices)
    mask = item.data.color_attributes.new("relief_mask", "FLOAT_COLOR", "POINT")
    calm = np.array([vertex.co.x > 0 for vertex in item.data.vertices])
    mask.data.foreach_set("color", np.repeat(np.where(calm, 0.0, 0.5), 4).astype(np.float32))
    rendered_form.set_form(item, 1, 1.0)
    points, _ = as_rendered(item)
    radius = 1000 * np.linalg.norm(points[:count], axis=1)
    assert np.abs(radius - 20)[calm].max() < 0.01 and np.abs(radius - 20)[~calm].max() > 0.35
    mesh = item.evaluated_get(bpy.context.evaluated_depsgraph_get()).to_mesh()
    assert len(mesh.vertices) - len(mesh.edges) + len(mesh.polygons) == 2  # Euler: a torn seam would add edges and points


def test_bands_that_are_calmed_calm_the_displacement() -> None:
    """The material's strength times what the bands hold together: all of it at 1, nothing at 0, and each has a share."""
    item = raised_sphere(0.8)
    slopes = images.make_image("slopes", np.zeros((8, 8, 3), np.float32), data=True, floating=True)
    normal = images.make_image("normal", np.full((8, 8, 3), (0.5, 0.5, 1.0), np.float32), data=True)
    maps = Maps(normal=normal, height=slopes, strength=0.8, bands=(slopes, slopes))
    item.data.materials[0] = make_material("banded", MaterialSurface("clay"), maps)
    inputs = item.data.materials[0].node_tree.nodes["Relief"].inputs
    assert rendered_form.raised_by(item) == pytest.approx(0.8)
    for name in rendered_form.SHARES:
        before = rendered_form.raised_by(item)
        inputs[name].default_value = 0.0
        assert rendered_form.raised_by(item) < before - 0.05
    assert rendered_form.raised_by(item) == pytest.approx(0.0, abs=1e-9)


def test_a_picture_raises_the_relief_only_while_it_is_taken() -> None:
    item = raised_sphere(0.7)
    shot = {"bozzetto_field_width_mm": 60.0, KIND: "hero"}
    for _ in range(2):
        with rendered_form.rendered_form([item], shot, (600, 400)):
            assert item.modifiers[rendered_form.MODIFIER].show_render
            assert rendered_form.levels_for(item, 1e-4, raised=True) > rendered_form.levels_for(item, 1e-4)
        assert not item.modifiers[rendered_form.MODIFIER].show_render
