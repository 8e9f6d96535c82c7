"""Shapes with known facts, for tests of the scan steps: a statuette on a round base, a box, a table; noise and spikes."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh

HEIGHT, BASE_DIAMETER, BASE_HEIGHT = 68.0, 60.0, 8.0


def grid_faces(rows: int, columns: int, *, ring: bool = False) -> tuple[Any, Any]:
    """Triangles (m, 3) of a grid of rows x columns vertices, and their UVs (m, 3, 2); `ring` closes its rows."""
    across = columns if ring else columns - 1
    i, j = np.meshgrid(np.arange(rows - 1), np.arange(across), indexing="ij")
    k = (j + 1) % columns
    quads = np.stack([i * columns + j, i * columns + k, (i + 1) * columns + k, (i + 1) * columns + j], -1).reshape(-1, 4)
    corners = np.stack(
        [np.stack([a / across, b / (rows - 1)], -1) for a, b in ((j, i), (j + 1, i), (j + 1, i + 1), (j, i + 1))], -2
    ).reshape(-1, 4, 2)
    return (
        np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]]]).astype(np.int32),
        np.concatenate([corners[:, [0, 1, 2]], corners[:, [0, 2, 3]]]).astype(np.float32),
    )


def statuette(*, rows: int = 120, columns: int = 160, open_bottom: bool = True) -> TriangleMesh:
    """A lobed figure on a round base: 68 mm high, base 60 mm wide and 8 mm high, on z = 0, its nose towards -Y."""
    part = np.linspace(0.0, 1.0, rows)
    radius = np.interp(part, [0.0, 0.12, 0.2, 0.3], [0.0, 30.0, 30.0, 16.0])
    height = np.interp(part, [0.0, 0.12, 0.2, 0.3], [0.0, 0.0, 8.0, 8.0])
    body = part > 0.3
    up = (part[body] - 0.3) / 0.7
    radius[body], height[body] = 16.0 * np.sqrt(np.maximum(1.0 - up**3, 0.0)), 8.0 + 60.0 * up
    angle = np.linspace(0.0, 2.0 * np.pi, columns, endpoint=False)
    lobes = 0.15 * np.cos(angle + np.pi / 2) + 0.05 * np.cos(3 * (angle + np.pi / 2))
    rings = radius[:, None] * (1.0 + np.where(height[:, None] > 8.0, lobes, 0.0))
    vertices = np.stack([rings * np.cos(angle), rings * np.sin(angle), np.repeat(height[:, None], columns, 1)], -1)
    faces, uv = grid_faces(rows, columns, ring=True)
    if open_bottom:
        keep = vertices.reshape(-1, 3)[faces][..., 2].max(axis=1) > 1e-6
        faces, uv = faces[keep], uv[keep]
    return TriangleMesh(vertices.reshape(-1, 3), faces, uv)


def box(size: tuple[float, float, float], *, steps: int = 12) -> TriangleMesh:
    """A closed box standing on z = 0, its faces divided, edges shared."""
    faces, _ = grid_faces(steps + 1, steps + 1)
    line = np.linspace(-1.0, 1.0, steps + 1)
    u, v = np.meshgrid(line, line, indexing="ij")
    sides = []
    for axis in range(3):
        for sign in (-1.0, 1.0):
            side = np.zeros((steps + 1, steps + 1, 3))
            side[..., axis] = sign
            side[..., (axis + 1) % 3], side[..., (axis + 2) % 3] = (u, v) if sign < 0 else (v, u)
            sides.append(side.reshape(-1, 3))
    vertices = np.concatenate(sides)
    all_faces = np.concatenate([faces[:, ::-1] * 1 + place * len(sides[0]) for place in range(6)])
    unique, inverse = np.unique(np.round(vertices, 9), axis=0, return_inverse=True)
    scaled = unique * np.array(size) / 2.0 + np.array([0.0, 0.0, size[2] / 2.0])
    mesh = TriangleMesh(scaled, inverse.reshape(-1)[all_faces].astype(np.int32))
    a, b, c = (mesh.vertices[mesh.faces[:, corner]] for corner in range(3))
    outward = (np.cross(b - a, c - a) * (a - np.array([0.0, 0.0, size[2] / 2.0]))).sum(axis=1) > 0
    flipped = mesh.faces.copy()
    flipped[~outward] = flipped[~outward][:, ::-1]
    return replace(mesh, faces=flipped)


def rotation(seed: int) -> Any:
    """A random rotation (3, 3), uniform over all (Shoemake 1992)."""
    w, x, y, z = (q := np.random.default_rng(seed).normal(size=4)) / np.linalg.norm(q)
    return np.array(
        [
            [1 - 2 * (y * y + z * z), 2 * (x * y - z * w), 2 * (x * z + y * w)],
            [2 * (x * y + z * w), 1 - 2 * (x * x + z * z), 2 * (y * z - x * w)],
            [2 * (x * z - y * w), 2 * (y * z + x * w), 1 - 2 * (x * x + y * y)],
        ]
    )


def noisy(mesh: TriangleMesh, *, noise: float, seed: int, outliers: float = 0.0, reach: float = 6.0) -> TriangleMesh:
    """Normal noise on every coordinate, and a share of vertices thrown off by up to `reach` in any direction."""
    random = np.random.default_rng(seed)
    vertices = mesh.vertices + random.normal(scale=noise, size=mesh.vertices.shape)
    thrown = random.random(len(vertices)) < outliers
    vertices[thrown] += random.uniform(-reach, reach, (int(thrown.sum()), 3))
    return replace(mesh, vertices=vertices)


def moved(mesh: TriangleMesh, turn: Any, *, scale: float = 1.0, shift: Any = (0.0, 0.0, 0.0)) -> TriangleMesh:
    """The mesh turned, scaled and shifted."""
    return replace(mesh, vertices=scale * (mesh.vertices @ np.asarray(turn).T) + np.asarray(shift))


def on_table(mesh: TriangleMesh, *, half: float = 80.0, step: float = 2.0, base_radius: float = 30.0) -> TriangleMesh:
    """A statuette with an open round bottom fused to a table sheet at z = 0, sewn on along its rim."""
    line = np.arange(-half, half + step / 2, step)
    x, y = np.meshgrid(line, 0.8 * line)
    sheet = np.stack([x, y, np.zeros_like(x)], -1).reshape(-1, 3)
    faces, _ = grid_faces(len(line), len(line))
    faces = faces[(np.linalg.norm(sheet[faces][..., :2], axis=2) > base_radius + 3.5).all(axis=1)]
    rim = np.flatnonzero((np.abs(mesh.vertices[:, 2]) < 1e-6) & (np.hypot(*mesh.vertices[:, :2].T) > base_radius - 1e-6))
    rim = rim[np.argsort(np.arctan2(mesh.vertices[rim, 1], mesh.vertices[rim, 0]))]
    outer = mesh.vertices[rim] * np.array([(base_radius + 4.0) / base_radius] * 2 + [1.0])
    start = len(mesh.vertices)
    ring = start + len(sheet) + np.arange(len(rim))
    after, ring_after = np.roll(rim, -1), np.roll(ring, -1)
    skirt = np.concatenate([np.stack([rim, ring, ring_after], 1), np.stack([rim, ring_after, after], 1)])
    added = np.concatenate([faces + start, skirt])
    return TriangleMesh(
        np.concatenate([mesh.vertices, sheet, outer]),
        np.concatenate([mesh.faces, added]).astype(np.int32),
        None if mesh.uv is None else np.concatenate([mesh.uv, np.zeros((len(added), 3, 2), np.float32)]),
    )


def write_obj(path: Path, mesh: TriangleMesh, *, library: str | None = None, spoiled: tuple[int, ...] = ()) -> Path:
    """Write an OBJ with UVs; vertices in `spoiled` are written as 'nan nan nan'."""
    lines = [f"mtllib {library}"] if library else []
    rows = np.round(np.asarray(mesh.vertices, float), 6).tolist()
    lines += ["v nan nan nan" if place in spoiled else f"v {x} {y} {z}" for place, (x, y, z) in enumerate(rows)]
    if mesh.uv is not None:
        lines += [f"vt {u:.6f} {v:.6f}" for u, v in mesh.uv.reshape(-1, 2).tolist()]
    lines += ["usemtl clay"] if library else []
    for place, (a, b, c) in enumerate((mesh.faces + 1).tolist()):
        t = 3 * place + 1
        lines.append(f"f {a}/{t} {b}/{t + 1} {c}/{t + 2}" if mesh.uv is not None else f"f {a} {b} {c}")
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")
    return path
