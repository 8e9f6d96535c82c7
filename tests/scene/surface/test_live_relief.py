"""Relief steered in the material: bands and painted mask, at once, and still ours for the next run."""

from __future__ import annotations

import time
from pathlib import Path

import bpy
import numpy as np
import pytest

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.surface.relief.bands import band_maps
from blender_addon.job.sheet import JobSheet
from blender_addon.scene import roles
from blender_addon.scene.dressing.set_parts import to_metres
from blender_addon.scene.images import make_image, read_pixels
from blender_addon.scene.meshes import make_object
from blender_addon.scene.nodes.materials import relief_nodes
from blender_addon.scene.nodes.relief import RELIEF_MASK
from blender_addon.scene.prints.fingerprint import unchanged
from blender_addon.scene.stage import Stage
from blender_addon.scene.surface.live_relief import begin_mask, set_band
from blender_addon.steps.surface import material
from scripts.bench._dressed import take

SIDE = 256


@pytest.fixture(scope="module")
def stage() -> Stage:
    """A flat plate of 12.8 mm with a ripple of 0.5 and one of 6 mm in its normal map."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    built = Stage(bpy.context.scene, JobSheet("live", Path(), {}))
    corners = np.array([[-6.4, -6.4, 0], [6.4, -6.4, 0], [6.4, 6.4, 0], [-6.4, 6.4, 0]], float)
    faces = np.array([[0, 1, 2], [0, 2, 3]])
    uv = (corners[faces][..., :2] + 6.4) / 12.8
    item = make_object("piece", to_metres(TriangleMesh(corners, faces, uv=uv.astype(np.float32))))
    built.scene.collection.objects.link(item)
    roles.mark(item, job=built.job, step="separation", role="piece", key="")
    x = (np.arange(SIDE) + 0.5) * 12.8 / SIDE
    slope = np.tile(0.25 * np.sin(2 * np.pi * x / 0.5) + 0.2 * np.sin(2 * np.pi * x / 6.0), (SIDE, 1))
    vectors = np.stack([slope, 0 * slope, np.ones_like(slope)], axis=-1)
    normals = 0.5 + 0.5 * vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)
    maps = band_maps(normals, np.ones((SIDE, SIDE), bool), 12.8 / SIDE)
    for role, values in zip(("relief_normal", "relief_middle", "relief_broad"), (normals, *maps), strict=True):
        roles.mark(make_image(role, values, data=True, floating=True), job=built.job, step="relief", role=role, key="piece")
    take(built, material, recesses=False)
    return built


def _normals(stage: Stage) -> np.ndarray:
    """(SIDE,) x of the bent normal along the plate, as the relief's group gives it, baked as light."""
    worn = stage.require("surface", "piece")
    tree = worn.node_tree
    node, end = (
        relief_nodes(tree)[0],
        next(candidate for candidate in tree.nodes if candidate.bl_idname == "ShaderNodeOutputMaterial"),
    )
    before = end.inputs["Surface"].links[0].from_socket
    shine = tree.nodes.new("ShaderNodeEmission")
    half = tree.nodes.new("ShaderNodeVectorMath")
    half.operation = "MULTIPLY_ADD"
    half.inputs[1].default_value = half.inputs[2].default_value = (0.5, 0.5, 0.5)
    tree.links.new(node.outputs["Normal"], half.inputs[0])
    tree.links.new(half.outputs["Vector"], shine.inputs["Color"])
    tree.links.new(shine.outputs["Emission"], end.inputs["Surface"])
    target = tree.nodes.new("ShaderNodeTexImage")
    target.image = bpy.data.images.new("baked", SIDE, 8, float_buffer=True, is_data=True)
    tree.nodes.active = target
    item = stage.require("piece")
    for shown in bpy.data.objects:
        shown.select_set(shown == item)
    bpy.context.view_layer.objects.active = item
    stage.scene.render.engine, stage.scene.cycles.samples, stage.scene.cycles.device = "CYCLES", 1, "CPU"
    bpy.ops.object.bake(type="EMIT")
    found = read_pixels(target.image)[4, :, 0] * 2.0 - 1.0
    tree.links.new(before, end.inputs["Surface"])
    for block in (shine, half, target):
        tree.nodes.remove(block)
    return found


def _share(values: np.ndarray, period: float) -> float:
    """Amplitude of a period (mm) along the plate, of slopes."""
    slopes = values / np.sqrt(np.maximum(1.0 - values**2, 1e-6))
    x = (np.arange(SIDE) + 0.5) * 12.8 / SIDE
    wave = np.exp(-2j * np.pi * x / period)
    return 2.0 * abs((slopes * wave).mean())


def test_all_bands_at_one_are_the_relief_and_each_steers_its_own(stage: Stage) -> None:
    """The ripple of 0.5 mm is fine, that of 6 mm broad. Blender reads pictures by a cubic B-spline, which takes (2 + cos w) /
    3 of a wave, w its phase from texel to texel: 6.4 % at ten texels a period."""
    plain = _normals(stage)
    read = (2.0 + np.cos(2.0 * np.pi / 10.0)) / 3.0
    assert _share(plain, 0.5) == pytest.approx(0.25 * read, rel=0.02)
    set_band(stage.scene, "relief_fine", 0.0)
    calm = _normals(stage)
    assert _share(calm, 0.5) < 0.02 and _share(calm, 6.4) > 0.7 * _share(plain, 6.4)
    set_band(stage.scene, "relief_fine", 2.0)
    assert _share(_normals(stage), 0.5) == pytest.approx(0.5 * read, rel=0.05)
    set_band(stage.scene, "relief_fine", 1.0)


def test_a_band_follows_within_a_fifth_of_a_second_and_the_material_stays_ours(stage: Stage) -> None:
    """`redraw_ms` <= 200: what is set in Blender's data; the view draws its next frame by itself."""
    worn = stage.require("surface", "piece")
    started = time.perf_counter()
    assert set_band(stage.scene, "relief_middle", 1.7) == 1
    assert 1000.0 * (time.perf_counter() - started) <= 200.0
    assert unchanged(worn, worn[roles.PRINT])
    relief_nodes(worn.node_tree)[0].inputs["Broad"].default_value = 0.3  # by hand in the node editor
    set_band(stage.scene, "relief_middle", 1.0)
    assert not unchanged(worn, worn[roles.PRINT])  # still the user's
    relief_nodes(worn.node_tree)[0].inputs["Broad"].default_value = 1.0
    set_band(stage.scene, "relief_middle", 1.0)


def test_a_painted_mask_calms_the_relief_and_is_kept_by_a_run(stage: Stage) -> None:
    before = _share(_normals(stage), 0.5)
    layer = begin_mask(stage)
    assert layer is not None and _share(_normals(stage), 0.5) == pytest.approx(before, rel=0.02)  # mid-grey changes nothing
    values = np.tile(np.array([0.1, 0.1, 0.1, 1.0], np.float32), 4)
    layer.data.foreach_set("color", values)
    assert _share(_normals(stage), 0.5) < 0.4 * before
    take(stage, material, recesses=False)
    assert RELIEF_MASK in stage.require("piece").data.color_attributes
    worn = stage.require("surface", "piece")
    assert relief_nodes(worn.node_tree)[0].inputs["Mask"].is_linked and worn.get("bozzetto_kind") == "clay"
