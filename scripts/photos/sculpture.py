"""Which mesh and which true normals does a measured sculpture have? Its scan at a known size, and its normal map's tilt in
3D."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh, unit
from blender_addon.core.surface.textured_surface import TexturedSurface, read_surface, without
from blender_addon.scene import meshes
from blender_addon.scene.images import read_pixels
from blender_addon.scene.scan.importers import import_scan

Floats = Any
HEIGHT_MM = 120.0
STEEPEST = 0.3
"""Third component of the mapped normal below which a texel is not judged: the map's maker met another surface there."""


@dataclass(frozen=True, eq=False)
class Sculpture:
    """name. mesh: triangles in mm with UVs. surface: its texels at the normal map's own size. true_normal: (n, 3) float32 unit,
    in the mesh's frame, at the surface's texels. known: (n,) bool, where the truth is to be trusted."""

    name: str
    mesh: TriangleMesh
    surface: TexturedSurface
    true_normal: Floats
    known: Any


def load(folder: Path) -> Sculpture:
    """The sculpture of a folder with one FBX and one `*_normals.png` (tangent space, +Y), HEIGHT_MM along its longest side.

    Raises FileNotFoundError when either is missing.
    """
    scan, picture = next(folder.glob("*.fbx"), None), next(folder.glob("*_normals.png"), None)
    if scan is None or picture is None:
        raise FileNotFoundError(f"{folder} holds no FBX with a normal map beside it")
    bpy.ops.wm.read_factory_settings(use_empty=True)
    found = import_scan(scan).mesh
    scale = HEIGHT_MM / float(found.size.max())
    vertices = ((found.vertices - found.vertices.min(axis=0)) * scale).astype(np.float32)
    mesh = TriangleMesh(vertices, found.faces, found.uv)
    stored = _pixels(picture)
    surface = read_surface(mesh, np.ones(len(mesh.faces), bool), height=stored.shape[0], width=stored.shape[1])
    surface = without(surface, surface.texels.shared)
    mapped = unit(2.0 * stored.reshape(-1, stored.shape[2])[surface.texels.index, :3] - 1.0)
    return Sculpture(folder.name, mesh, surface, _in_space(mesh, surface, mapped), mapped[:, 2] > STEEPEST)


def _pixels(path: Path) -> Floats:
    image = bpy.data.images.load(str(path), check_existing=False)
    image.colorspace_settings.name = "Non-Color"
    pixels = read_pixels(image)
    bpy.data.images.remove(image)
    return pixels


def _in_space(mesh: TriangleMesh, surface: TexturedSurface, mapped: Floats) -> Floats:
    """(n, 3) normals in space of tangent-space ones, by Blender's own tangents and smooth normals of the corners."""
    made = meshes.make_mesh("sculpture", mesh)
    made.calc_tangents(uvmap=meshes.UV)
    corners = 3 * len(mesh.faces)
    tangent, normal, sign = (np.zeros(corners * width, np.float32) for width in (3, 3, 1))
    made.loops.foreach_get("tangent", tangent)
    made.loops.foreach_get("normal", normal)
    made.loops.foreach_get("bitangent_sign", sign)
    made.free_tangents()
    bpy.data.meshes.remove(made)
    rows = np.arange(corners).reshape(-1, 3)
    along = surface.texels.interpolate(rows, tangent.reshape(-1, 3))
    upright = surface.texels.interpolate(rows, normal.reshape(-1, 3))
    across = np.cross(upright, along) * sign[rows[surface.texels.face, 0]][:, None]
    return unit(mapped[:, :1] * along + mapped[:, 1:2] * across + mapped[:, 2:] * upright).astype(np.float32)
