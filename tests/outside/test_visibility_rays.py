"""What a place sees of the room and of the piece, beside exact rays by Blender's own tree of boxes (mathutils.bvhtree)."""

from __future__ import annotations

import bpy  # noqa: F401  mathutils comes with it
import numpy as np
from mathutils.bvhtree import BVHTree

from blender_addon.core.mesh.triangles import face_normals, vertex_normals
from blender_addon.core.surface.light import light
from blender_addon.core.surface.light.visibility import look_round, spread_samples
from tests.core.surface.relief.test_relief import sheet


def test_openness_and_bounce_are_those_of_exact_rays() -> None:
    """Deep waves, their flanks bright on one side: rays start 0.03 mm above the surface.

    The bound of the bounce is a third of the 0.15 by which it is off where the outermost surface is taken for the one seen.
    """
    mesh = sheet(wave_mm=8, high_mm=6.0)
    vertices, faces = mesh.vertices, mesh.faces
    normals, ways = vertex_normals(vertices, faces), light.half_sphere(64)
    inner = np.all(np.abs(vertices[:, :2] - vertices[:, :2].mean(axis=0)) < 8, axis=1)
    some = np.random.default_rng(0).choice(np.flatnonzero(inner), 150, replace=False)
    samples = spread_samples(vertices, faces, count=100_000, seed=1)
    seen = look_round(samples, vertices[some], normals[some], ways)
    bright = 0.1 + np.maximum(face_normals(vertices, faces)[:, 0], 0)
    tree = BVHTree.FromPolygons(vertices.tolist(), faces.tolist())
    cosine = np.maximum(normals[some] @ seen.directions.T, 0) * seen.solid_angle / np.pi
    free, shown = np.zeros(cosine.shape), np.zeros(cosine.shape)
    for row, way in zip(*np.nonzero(cosine), strict=True):
        start = vertices[some[row]] + 0.03 * (normals[some[row]] + seen.directions[way])
        face = tree.ray_cast(start.tolist(), seen.directions[way].tolist())[2]
        free[row, way], shown[row, way] = face is None, 0 if face is None else bright[face]
    blocked = (1 - seen.open.astype(float)) * (seen.source >= 0)
    ours = blocked * bright[samples.face[np.maximum(seen.source, 0)]]
    rms = lambda off: float(np.sqrt(np.mean(np.square((cosine * off).sum(axis=1)))))  # noqa: E731
    print(f"openness off by {rms(seen.open - free):.3f}, bounce by {rms(ours - shown):.3f}")
    assert rms(seen.open - free) < 0.05
    assert rms(ours - shown) < 0.05
