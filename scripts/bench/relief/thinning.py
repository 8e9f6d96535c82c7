"""How far are the normals of a thinned mesh with its relief's maps from those of the full scan?"""

from __future__ import annotations

import bpy
import numpy as np
from mathutils.bvhtree import BVHTree

from blender_addon.core.mesh.topology import welded
from blender_addon.core.mesh.triangles import shading_normals, unit
from blender_addon.core.surface.normal_maps import from_tangent_space, tangent_frames
from blender_addon.core.surface.relief.dropped import dropped_detail
from blender_addon.core.surface.textured_surface import TexturedSurface, read_surface, without
from blender_addon.scene.scan.decimation import decimated
from scripts.truth.scan.texels import barycentric
from scripts.truth.scanner import baked_scan

SHARE = 0.2
"""Of the triangles are left, as when 2.5 million are brought to half a million."""
SIZE, SPOTS, REACH_MM = 2048, 20_000, 1.0


def thinning_errors_deg(shape: str) -> tuple[float, float]:
    """Median angle to the full scan's normal straight over a spot: of the thinned mesh with its maps, and of it alone."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    full = welded(baked_scan(shape).scan)
    thin = decimated(full, int(SHARE * len(full.faces)))
    read = [read_surface(mesh, np.ones(len(mesh.faces), bool), height=SIZE, width=SIZE) for mesh in (full, thin)]
    whole, surface = (without(entry, entry.texels.shared) for entry in read)
    mapped, _ = dropped_detail(whole, surface).at(surface.texels.index)
    frames = tangent_frames(surface.vertices, surface.faces, surface.uv, surface.vertex_normal)
    shown = from_tangent_space(surface.texels, frames, surface.normal, mapped)
    spots = np.random.default_rng(0).choice(len(surface), min(SPOTS, len(surface)), replace=False)
    true, known = _normals_over(full.vertices, full.faces, surface, spots)
    cosines = [np.einsum("ij,ij->i", normals[spots], true)[known] for normals in (shown, surface.normal)]
    after, before = (float(np.median(np.degrees(np.arccos(np.clip(cosine, -1, 1))))) for cosine in cosines)
    return after, before


def _normals_over(
    vertices: np.ndarray, faces: np.ndarray, surface: TexturedSurface, spots: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """(k, 3) the mesh's smooth normals where the surface's normals in the texels `spots` meet it, and (k,) whether they do."""
    tree = BVHTree.FromPolygons(vertices.tolist(), faces.tolist(), all_triangles=True)
    normals = shading_normals(vertices.astype(float), faces)
    starts = surface.position[spots] + REACH_MM * surface.normal[spots]
    hits = [
        tree.ray_cast(start, inwards, 2 * REACH_MM)
        for start, inwards in zip(starts.tolist(), (-surface.normal[spots]).tolist(), strict=True)
    ]
    known = np.array([hit[0] is not None for hit in hits])
    face = np.array([hit[2] if hit[0] is not None else 0 for hit in hits])
    place = np.array([hit[0] if hit[0] is not None else (0.0, 0.0, 0.0) for hit in hits])
    weight = barycentric(vertices, faces[face], place)
    return unit(np.einsum("ni,nij->nj", weight, normals[faces[face]])), known
