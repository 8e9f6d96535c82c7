"""Are folds of a scanned surface found and laid flat, and is what is only thin or pointed left as it is?"""

from __future__ import annotations

import numpy as np
import pytest

from blender_addon.core.mesh.spikes import FARTHEST, folded_faces, unfolded
from blender_addon.core.mesh.triangles import TriangleMesh, face_crosses, unit


def sheet(count: int = 21) -> TriangleMesh:
    """A square of count x count vertices, 1 mm apart, slightly bent."""
    x, y = np.meshgrid(np.arange(count, dtype=float), np.arange(count, dtype=float))
    vertices = np.stack([x, y, 0.002 * (x - 10.0) ** 2], axis=-1).reshape(-1, 3)
    first = (np.arange(count - 1)[:, None] * count + np.arange(count - 1)).ravel()
    faces = np.concatenate([
        np.stack([first, first + 1, first + count], axis=1),
        np.stack([first + 1, first + count + 1, first + count], axis=1),
    ])  # fmt: skip
    return TriangleMesh(vertices, faces.astype(np.int32))


@pytest.mark.parametrize("seed", range(6))
def test_a_vertex_pushed_over_its_neighbours_is_laid_flat(seed: int) -> None:
    rng = np.random.default_rng(seed)
    mesh = sheet()
    pushed = 21 * int(rng.integers(5, 15)) + int(rng.integers(5, 15))
    way = 2.0 * np.pi * rng.random()
    mesh.vertices[pushed, :2] += 1.35 * np.array([np.cos(way), np.sin(way)])
    facing = unit(face_crosses(mesh.vertices, mesh.faces))[:, 2]
    assert (facing < 0.0).any()
    assert (folded_faces(mesh) <= (facing < 0.0)).all() and folded_faces(mesh).any()
    flat, count = unfolded(mesh)
    assert count >= 1
    assert not folded_faces(flat).any() and (unit(face_crosses(flat.vertices, flat.faces))[:, 2] > 0.0).all()
    moved = np.linalg.norm(flat.vertices - mesh.vertices, axis=1)
    assert moved[pushed] > 0.0 and moved.max() < FARTHEST * 2.5  # of edges 1 to 2.5 mm long
    assert (moved > 0.0).sum() <= 8


def test_a_thin_leaf_and_a_point_have_no_folds() -> None:
    """Two sides of a leaf 0.02 mm thick joined at its rim, and a cone of six faces 12 mm high."""
    top = sheet()
    under = TriangleMesh(top.vertices - [0.0, 0.0, 0.02], top.faces[:, ::-1] + len(top.vertices))
    count = 21
    border = [*range(count), *range(2 * count - 1, count * count, count),
              *range(count * count - 2, count * (count - 1) - 1, -1), *range(count * (count - 2), 0, -count)]  # fmt: skip
    ring = np.array(border)
    following, below = np.roll(ring, -1), len(top.vertices)
    rim = np.concatenate([
        np.stack([ring, ring + below, following], axis=1), np.stack([following, ring + below, following + below], axis=1),
    ])  # fmt: skip
    leaf = TriangleMesh(
        np.concatenate([top.vertices, under.vertices]), np.concatenate([top.faces, under.faces, rim]).astype(np.int32)
    )
    assert not folded_faces(leaf).any()
    angle = np.arange(6) * np.pi / 3.0
    base = np.stack([np.cos(angle), np.sin(angle), np.zeros(6)], axis=1)
    cone = TriangleMesh(
        np.concatenate([base, [[0.0, 0.0, 12.0], [0.0, 0.0, 0.0]]]),
        np.array([*([k, (k + 1) % 6, 6] for k in range(6)), *([(k + 1) % 6, k, 7] for k in range(6))], np.int32),
    )
    same, found = unfolded(cone)
    assert found == 0 and same is cone
