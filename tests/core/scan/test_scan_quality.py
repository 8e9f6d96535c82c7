"""Is a bad scan found, and a good one left alone? A worked body in closed form, its texture lit by a lamp."""

from __future__ import annotations

import dataclasses

import numpy as np
import pytest

from blender_addon.core.mesh.topology import welded
from blender_addon.core.mesh.triangles import TriangleMesh, vertex_normals
from blender_addon.core.scan.quality.measuring import Picture, measured
from blender_addon.core.scan.quality.verdict import Findings, complaints

HIGH, WIDE = 220, 440
"""Rows and columns of vertices: 0.5 mm apart on a body 100 mm tall."""
TEXELS = 2048


def radius(theta: np.ndarray, phi: np.ndarray) -> np.ndarray:
    """mm: an egg with a waist and, on its upper half, strokes 3 mm wide and 0.15 mm deep."""
    form = 38.0 + 5.0 * np.cos(2 * theta) + 2.5 * np.sin(3 * phi) * np.sin(theta) ** 2
    return form + 0.15 * np.sin(80.0 * theta + 4 * np.sin(3 * phi)) * (theta < 1.4)


def points(theta: np.ndarray, phi: np.ndarray) -> np.ndarray:
    r = radius(theta, phi)
    return np.stack([r * np.sin(theta) * np.cos(phi), r * np.sin(theta) * np.sin(phi), 1.25 * r * np.cos(theta)], axis=-1)


@pytest.fixture(scope="module")
def picture() -> np.ndarray:
    """(TEXELS / 2, TEXELS) of 8 bits: v runs from the bottom pole to the top, u once round; a lamp at one side and a room."""
    v, u = np.meshgrid((np.arange(TEXELS // 2) + 0.5) / (TEXELS // 2), (np.arange(TEXELS) + 0.5) / TEXELS, indexing="ij")
    theta, phi = 0.05 + (1.0 - v) * (np.pi - 0.1), 2 * np.pi * u
    step = 1e-4
    along = points(theta + step, phi) - points(theta - step, phi)
    across = points(theta, phi + step) - points(theta, phi - step)
    normal = np.cross(along, across)
    normal /= np.linalg.norm(normal, axis=-1, keepdims=True)
    light = 0.35 + 0.3 * (normal @ np.array([0.6, -0.5, 0.6]))
    rng = np.random.default_rng(2)
    dots = 1.0 - 0.3 * (rng.random(light.shape) < 0.02)
    noisy = light * dots + 0.01 * rng.standard_normal(light.shape)
    return np.round(255 * np.clip(noisy, 0.01, 1.0) ** (1 / 2.2)).astype(np.uint8)


def scan(*, rows: int = HIGH, lumps: float = 0.0) -> TriangleMesh:
    """The body as triangles with UVs in mm, open at both poles; lumps of 3 to 8 mm with that rms along the normals."""
    columns = 2 * rows
    v, u = np.meshgrid(np.linspace(0, 1, rows), np.arange(columns + 1) / columns, indexing="ij")
    vertices = points(0.05 + (1.0 - v) * (np.pi - 0.1), 2 * np.pi * u).reshape(-1, 3)
    corner = np.arange(rows - 1)[:, None] * (columns + 1) + np.arange(columns)
    a, b, c, d = (corner + k for k in (0, 1, columns + 2, columns + 1))
    faces = np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])
    uv = np.stack([u, v], axis=-1).reshape(-1, 2)[faces]
    mesh = welded(TriangleMesh(vertices, faces, uv=uv))
    if not lumps:
        return mesh
    rng = np.random.default_rng(3)
    waves = rng.standard_normal((60, 3))
    waves *= 2 * np.pi / rng.uniform(3.0, 8.0, 60)[:, None] / np.linalg.norm(waves, axis=1, keepdims=True)
    moved = np.cos(mesh.vertices @ waves.T + rng.uniform(0, 2 * np.pi, 60)).sum(axis=1)
    moved *= lumps / moved.std()
    normals = vertex_normals(mesh.vertices, mesh.faces)
    return dataclasses.replace(mesh, vertices=mesh.vertices + normals * moved[:, None])


def judged(mesh: TriangleMesh, grey: np.ndarray | None, pixels: int = 1500) -> tuple[Findings, list[str]]:
    found = measured(mesh, None if grey is None else Picture(grey), (1.0, False), pixels)
    return found, [complaint.kind for complaint in complaints(found)]


def test_a_good_scan_is_left_alone_though_it_has_strokes(picture: np.ndarray) -> None:
    found, kinds = judged(scan(), picture)
    assert kinds == []
    assert found.discs >= 24


@pytest.mark.parametrize("rms", [0.12, 0.25])
def test_lumps_that_the_picture_does_not_show_are_measured(rms: float, picture: np.ndarray) -> None:
    """Within 45 %: a disc's quadric takes part of the longest waves, its cells part of the shortest."""
    found, kinds = judged(scan(lumps=rms), picture)
    assert kinds == ["lumps"]
    assert found.lumps_mm == pytest.approx(rms, rel=0.45)


def test_without_light_in_the_picture_nothing_is_said_of_lumps(picture: np.ndarray) -> None:
    plain = np.round(130 + 10 * np.random.default_rng(1).standard_normal(picture.shape)).astype(np.uint8)
    found, kinds = judged(scan(lumps=0.25), plain)
    assert "lumps" not in kinds and np.isnan(found.lumps_mm)
    assert "lumps" not in judged(scan(lumps=0.25), None)[1]


def test_few_triangles_and_few_texels_are_found(picture: np.ndarray) -> None:
    assert judged(scan(rows=40), picture)[1] == ["triangles"]
    small = picture.reshape(128, 8, 256, 8).mean(axis=(1, 3)).astype(np.uint8)
    assert "texels" in judged(scan(), small)[1]
    assert "texels" not in judged(scan(), picture, pixels=1500)[1]
    assert "texels" in judged(scan(), picture, pixels=16000)[1]


def test_a_blurred_texture_is_soft(picture: np.ndarray) -> None:
    blurred = picture.astype(float)
    for axis in (0, 1):
        for _ in range(3):
            blurred = np.mean([np.roll(blurred, k, axis) for k in range(-2, 3)], axis=0)
    contrast = 127 + 3.0 * (blurred - blurred.mean())  # so that there is something to read at all
    assert "soft" in judged(scan(), np.clip(contrast, 0, 255).astype(np.uint8))[1]


def test_holes_beside_the_underside_are_found(picture: np.ndarray) -> None:
    mesh = scan()
    middle = mesh.vertices[mesh.faces].mean(axis=1)
    keep = np.linalg.norm(middle - [40.0, 0.0, 0.0], axis=1) > 16.0
    holed = dataclasses.replace(mesh, faces=mesh.faces[keep], uv=None if mesh.uv is None else mesh.uv[keep])
    keep_two = np.linalg.norm(holed.vertices[holed.faces].mean(axis=1) - [-40.0, 0.0, 0.0], axis=1) > 15.0
    holed = dataclasses.replace(holed, faces=holed.faces[keep_two], uv=None if holed.uv is None else holed.uv[keep_two])
    assert "holes" in judged(holed, picture)[1]


def test_a_scan_in_metres_is_as_large_as_the_same_in_millimetres() -> None:
    mesh = scan(rows=60)
    metres = dataclasses.replace(mesh, vertices=mesh.vertices / 1000.0)
    small, large = measured(mesh, None, (1.0, False), 960), measured(metres, None, (1000.0, False), 960)
    assert large.longest_mm == pytest.approx(small.longest_mm) == pytest.approx(float(mesh.size.max()))
    assert large.edge_pixels == pytest.approx(small.edge_pixels)
