"""What a phone's reconstruction leaves of a piece: fused, blurred, noisy, decimated triangles."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh, vertex_normals
from blender_addon.scene import meshes

from ..modelling import nets
from ..modelling.fields import Noise
from ..pieces.shape import Shape

Floats = Any
Ints = Any


def filled(vertices: Floats, faces: Ints, *, step: float, margin: float = 3.0) -> tuple[Floats, Floats]:
    """How full (0 to 1) each voxel of a grid is, and the first voxel's centre (3,). Overlapping closed meshes count as one.

    Each column of voxels is cut by the triangles over it; what lies between a face that looks down and one that looks up is
    full.
    """
    low = vertices.min(axis=0) - margin + np.array([0.371, 0.613, 0.0]) * step * 1e-3 * np.pi
    shape = np.ceil((vertices.max(axis=0) + margin - low) / step).astype(int) + 1
    corners = (vertices[faces] - low) / step
    first = np.ceil(corners[..., :2].min(axis=1) - 1e-9).astype(np.int64)
    last = np.floor(corners[..., :2].max(axis=1)).astype(np.int64)
    size = np.maximum(last - first + 1, 0)
    count = size[:, 0] * size[:, 1]
    grid = np.zeros((shape[0], shape[1], shape[2] + 2), np.float32)
    flat = grid.reshape(-1)
    for chunk in np.array_split(np.flatnonzero(count), max(1, int(count.sum()) // 3_000_000 + 1)):
        many = count[chunk]
        face = np.repeat(chunk, many)
        off = np.arange(many.sum()) - np.repeat(np.cumsum(many) - many, many)
        x, y = first[face, 0] + off % size[face, 0], first[face, 1] + off // size[face, 0]
        a, b, c = corners[face, 0], corners[face, 1], corners[face, 2]
        edge, other_edge = b - a, c - a
        area = edge[:, 0] * other_edge[:, 1] - edge[:, 1] * other_edge[:, 0]
        safe = np.where(np.abs(area) < 1e-12, 1.0, area)
        u = ((x - a[:, 0]) * other_edge[:, 1] - (y - a[:, 1]) * other_edge[:, 0]) / safe
        v = (edge[:, 0] * (y - a[:, 1]) - edge[:, 1] * (x - a[:, 0])) / safe
        hit = (u >= 0) & (v >= 0) & (u + v <= 1) & (np.abs(area) >= 1e-12)
        height = (a[:, 2] + u * edge[:, 2] + v * other_edge[:, 2])[hit] + 0.5
        sign = -np.sign(area[hit])
        cell = np.floor(height).astype(np.int64)
        place = (x[hit] * grid.shape[1] + y[hit]) * grid.shape[2] + cell
        share = height - cell
        flat += np.bincount(place, sign * (1.0 - share), len(flat)).astype(np.float32)
        flat += np.bincount(place + 1, sign * share, len(flat)).astype(np.float32)
    return np.clip(np.cumsum(grid, axis=2)[:, :, : shape[2]], 0.0, 1.0), low


def blurred(values: Floats, sigma: float) -> Floats:
    """The grid blurred by a Gaussian of `sigma` voxels, zero outside."""
    radius = int(np.ceil(3.0 * sigma))
    weights = np.exp(-0.5 * (np.arange(-radius, radius + 1) / sigma) ** 2)
    weights = (weights / weights.sum()).astype(np.float32)
    for axis in range(3):
        total = weights[radius] * values
        for off in range(1, radius + 1):
            here, there = [slice(None)] * 3, [slice(None)] * 3
            here[axis], there[axis] = slice(off, None), slice(None, -off)
            total[tuple(here)] += weights[radius + off] * values[tuple(there)]
            total[tuple(there)] += weights[radius + off] * values[tuple(here)]
        values = total
    return values


def scan_mesh(
    truth: Shape,
    *,
    triangles: int = 60_000,
    sigma: float = 0.65,
    noise: float = 0.02,
    webbing: float = 0.0,
    step: float = 0.35,
    seed: int = 0,
    open_below: float | None = None,
) -> TriangleMesh:
    """The scan of closed truth meshes, in the same frame and mm.

    sigma: mm, the reconstruction's blur. noise: mm, standard deviation of fine noise, with broad waves of twice as much.
    webbing: 0 to 0.3, how far crevices silt up. open_below: height under which faces that look down were not seen and are
    missing.
    """
    solid, low = filled(truth.vertices, truth.faces, step=step)
    field = blurred(solid, sigma / step)
    if webbing:
        field = np.maximum(field, blurred(solid, 3.2 * sigma / step) - np.float32(0.30 - webbing))
    vertices, quads = nets.surface_nets(-field, low, step, -0.5)
    mesh = decimated(TriangleMesh(nets.relaxed(vertices, quads, 1, 0.3), nets.triangles(quads)), triangles)
    wander = Noise(seed + 101)
    rng = np.random.default_rng(seed + 102)
    normals = vertex_normals(mesh.vertices, mesh.faces)
    height = noise * rng.standard_normal(len(mesh.vertices)) + 2.0 * noise * wander(mesh.vertices, 5.0, octaves=2)
    mesh = TriangleMesh(mesh.vertices + height[:, None] * normals, mesh.faces)
    if open_below is not None:
        centre = mesh.vertices[mesh.faces].mean(axis=1)
        mesh = kept(mesh, ~((centre[:, 2] < open_below) & (normals[mesh.faces].mean(axis=1)[:, 2] < -0.45)))
    return mesh


def decimated(mesh: TriangleMesh, triangles: int) -> TriangleMesh:
    """Edges collapsed by Blender's decimate modifier down to about `triangles`."""
    item = meshes.make_object("scan", mesh)
    scene = bpy.context.scene
    scene.collection.objects.link(item)
    modifier = item.modifiers.new("fewer", "DECIMATE")
    modifier.ratio = min(1.0, triangles / len(mesh.faces))
    modifier.use_collapse_triangulate = True
    shown = item.evaluated_get(bpy.context.evaluated_depsgraph_get())
    made = bpy.data.meshes.new_from_object(shown)
    copy = bpy.data.objects.new("copy", made)
    result = meshes.read_mesh(copy)
    for block in (copy, item):
        data = block.data
        bpy.data.objects.remove(block)
        bpy.data.meshes.remove(data)
    return TriangleMesh(result.vertices.astype(float), result.faces)


def kept(mesh: TriangleMesh, faces: Any) -> TriangleMesh:
    """The mesh with only the marked faces (m,) bool and the vertices that they use."""
    chosen = mesh.faces[faces]
    used, index = np.unique(chosen, return_inverse=True)
    uv = None if mesh.uv is None else mesh.uv[faces]
    return TriangleMesh(
        mesh.vertices[used],
        index.reshape(-1, 3),
        uv,
        None if mesh.material is None else mesh.material[faces],
        {name: values[used] for name, values in mesh.colours.items()},
        {name: marks[faces] for name, marks in mesh.face_marks.items()},
    )
