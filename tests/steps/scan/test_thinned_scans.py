"""Is what thinning took from a dense mesh still in the pictures, in the relief's maps?"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import numpy as np
import pytest

from blender_addon.core.mesh.triangles import TriangleMesh, unit
from blender_addon.core.surface.normal_maps import decode, from_tangent_space, tangent_frames
from blender_addon.core.surface.textured_surface import read_surface
from blender_addon.job import sheet as sheets
from blender_addon.job.runner import finish
from blender_addon.job.step import from_module
from blender_addon.scene import images, meshes, roles
from blender_addon.scene.scan.decimation import THINNED_FROM, decimated
from blender_addon.scene.scan.textures import Textures, scan_material
from blender_addon.scene.stage import Stage
from blender_addon.steps.surface import relief

pytestmark = pytest.mark.usefixtures("empty_scene")
COUNT, RIPPLE_MM, STEEP = 240, 1.5, 0.25
"""Points along each edge of the sheet; wavelength and steepness of its ripples."""


def rippled(count: int = COUNT) -> TriangleMesh:
    """A bent sheet of 20 mm in metres, one UV island, with ripples along x."""
    u, v = np.meshgrid(*[np.linspace(0, 1, count)] * 2)
    x, y = 0.02 * u, 0.02 * v
    z = 0.002 * np.sin(2 * np.pi * y / 0.04) + 1e-3 * STEEP * RIPPLE_MM / (2 * np.pi) * np.sin(2e3 * np.pi * x / RIPPLE_MM)
    place = np.arange(count * count).reshape(count, count)
    a, b, c, d = place[:-1, :-1].ravel(), place[:-1, 1:].ravel(), place[1:, 1:].ravel(), place[1:, :-1].ravel()
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)]).astype(np.int32)
    uv = np.stack([u.ravel(), v.ravel()], 1)[faces] * 0.96 + 0.02
    return TriangleMesh(np.stack([x.ravel(), y.ravel(), z.ravel()], 1).astype(np.float32), faces, uv.astype(np.float32))


def stage_of(full: TriangleMesh, thin: TriangleMesh, picture: np.ndarray | None) -> Stage:
    """A stage on which a scan was thinned: the scan as it came, cleaned, upright, and the piece."""
    stage = Stage(bpy.context.scene, sheets.JobSheet("test", Path.cwd()))
    pictures = {} if picture is None else {"base": images.make_image("Scan texture", picture)}
    material = scan_material("Scan", Textures(pictures), colours=False)
    for role, mesh, facts in (
        ("scan", full, {}),
        ("clean", thin, {THINNED_FROM: len(full.faces)}),
        ("upright", thin, {"bozzetto_mm_per_unit": 1000.0}),
        ("piece", thin, {}),
    ):
        item = meshes.make_object(role.capitalize(), mesh, materials=[material])
        bpy.context.scene.collection.objects.link(item)
        for name, value in facts.items():
            item[name] = value
        roles.mark(item, job=stage.job, step="earlier", role=role, key="" if role == "piece" else "1")
    return stage


def done(stage: Stage) -> Any:
    """Run the step of the relief to its end."""
    stage.begin(from_module(relief), afresh=False)
    result = finish(relief.run(stage, relief.Settings()))
    stage.swap()
    return result


@pytest.mark.parametrize("pictured", [True, False])
def test_the_maps_keep_what_thinning_took_away(pictured: bool) -> None:
    """The ripples are much finer than the thinned mesh; the picture is plain with speckle, or there is none."""
    full = rippled()
    thin = decimated(full, 1000)
    speckle = 0.5 * np.exp(np.random.default_rng(1).normal(0, 0.02, (512, 512, 1)))
    stage = stage_of(full, thin, np.repeat(speckle, 3, axis=2) if pictured else None)
    result = done(stage)
    assert result.figures["own_form"] and not result.figures["found"]
    before, after = (np.median(_error_deg(thin, mapped)) for mapped in (None, stage.require("relief_normal")))
    assert before > 2.0 and after < 0.5, (before, after)  # the median that is asked of thinned meshes


def test_a_mesh_that_was_not_thinned_gains_nothing() -> None:
    full = rippled(60)
    speckle = 0.5 * np.exp(np.random.default_rng(1).normal(0, 0.02, (256, 256, 1)))
    stage = stage_of(full, full, np.repeat(speckle, 3, axis=2))
    del stage.require("clean")[THINNED_FROM]
    result = done(stage)
    assert not result.figures["own_form"] and stage.find("relief_normal") is None


def _error_deg(thin: TriangleMesh, mapped: Any) -> np.ndarray:
    """Degrees between the true normals and those that a mesh shows with a normal map, or without one."""
    width, height = (512, 512) if mapped is None else mapped.size
    surface = read_surface(thin, np.ones(len(thin.faces), bool), height=height, width=width)
    shown = surface.normal
    if mapped is not None:
        frames = tangent_frames(surface.vertices, surface.faces, surface.uv, surface.vertex_normal)
        stored = decode(images.read_pixels(mapped).reshape(-1, 4)[surface.texels.index])
        shown = from_tangent_space(surface.texels, frames, surface.normal, stored)
    x, y = surface.position[:, 0], surface.position[:, 1]
    along_x = STEEP * np.cos(2e3 * np.pi * x / RIPPLE_MM)
    along_y = 0.1 * np.pi * np.cos(2 * np.pi * y / 0.04)
    true = unit(np.stack([-along_x, -along_y, np.ones_like(x)], axis=1))
    return np.degrees(np.arccos(np.clip((shown * true).sum(axis=1), -1, 1)))
