"""Many small UV islands, as scanning programs cut them: grown from seeds on the surface, laid flat, packed on shelves."""

from __future__ import annotations

from typing import Any

import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh, face_areas, face_normals, unit

Ints = Any
Floats = Any


def unwrapped(
    mesh: TriangleMesh, *, islands: int = 1000, texels: int = 2048, gutter: float = 3.0, seed: int = 0
) -> tuple[TriangleMesh, Ints]:
    """The mesh with UVs in about `islands` charts, and the island (m,) of each face; texel density even over the surface."""
    island = _grown(mesh, islands, seed)
    normals = face_normals(mesh.vertices, mesh.faces)
    areas = face_areas(mesh.vertices, mesh.faces)
    island = _apart_where_folded(mesh, island, normals, areas)
    island = connected(mesh.faces, island)
    flat, island = _flattened(mesh, island, normals, areas, np.random.default_rng(seed))
    uv = _packed(flat, island, texels, gutter)
    return TriangleMesh(mesh.vertices, mesh.faces, uv, mesh.material, mesh.colours, mesh.face_marks), island


def neighbours(faces: Ints) -> Ints:
    """(e, 2) pairs of faces that share an edge."""
    pairs = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1).astype(np.int64)
    keys = pairs[:, 0] * (int(faces.max()) + 1) + pairs[:, 1]
    order = np.argsort(keys, kind="stable")
    same = keys[order][1:] == keys[order][:-1]
    owner = np.tile(np.arange(len(faces)), 3)[order]
    return np.stack([owner[1:][same], owner[:-1][same]], axis=1)


def connected(faces: Ints, label: Ints) -> Ints:
    """Labels (m,) from 0 up, one for each edge-connected set of faces with the same given label."""
    edges = neighbours(faces)
    edges = edges[label[edges[:, 0]] == label[edges[:, 1]]]
    root = np.arange(len(faces))
    while True:
        low = np.minimum(root[edges[:, 0]], root[edges[:, 1]])
        before = root.copy()
        np.minimum.at(root, root[edges[:, 0]], low)
        np.minimum.at(root, root[edges[:, 1]], low)
        while not np.array_equal(root, root[root]):
            root = root[root]
        if np.array_equal(before, root):
            return np.unique(root, return_inverse=True)[1]


def _grown(mesh: TriangleMesh, islands: int, seed: int) -> Ints:
    """Regions of faces by growth in rounds from random seeds, held back where the surface turns."""
    rng = np.random.default_rng(seed)
    areas = face_areas(mesh.vertices, mesh.faces)
    normals = face_normals(mesh.vertices, mesh.faces)
    centres = mesh.vertices[mesh.faces].mean(axis=1)
    seeds = rng.choice(len(areas), min(islands, len(areas)), replace=False, p=areas / areas.sum())
    edges = neighbours(mesh.faces)
    edges = np.concatenate([edges, edges[:, ::-1]])
    step = np.linalg.norm(centres[edges[:, 0]] - centres[edges[:, 1]], axis=1)
    cost = np.full(len(areas), np.inf)
    cost[seeds] = 0.0
    owner = np.full(len(areas), -1)
    owner[seeds] = np.arange(len(seeds))
    size = np.sqrt(areas.sum() / len(seeds))
    for _ in range(4 * int(np.sqrt(len(areas) / len(seeds))) + 40):
        source = owner[edges[:, 0]]
        alive = source >= 0
        turn = np.ones(len(edges))
        turn[alive] = 1.0 - np.einsum("ij,ij->i", normals[seeds[source[alive]]], normals[edges[alive, 1]])
        offer = np.where(alive, cost[edges[:, 0]] + step + 1.5 * size * turn * step / step.mean() * 0.15, np.inf)
        better = offer < cost[edges[:, 1]] - 1e-9
        if not better.any():
            break
        order = np.argsort(-offer[better], kind="stable")
        target = edges[better, 1][order]
        cost[target], owner[target] = offer[better][order], source[better][order]
    return np.where(owner < 0, len(seeds), owner)


def _apart_where_folded(mesh: TriangleMesh, island: Ints, normals: Floats, areas: Floats) -> Ints:
    """Faces that would lie face down or edge on in their island go to islands of their own."""
    mean = _mean_normal(island, normals, areas)
    folded = np.einsum("ij,ij->i", normals, mean[island]) < 0.3
    side = np.argmax(np.abs(normals), axis=1) * 2 + (
        np.take_along_axis(normals, np.argmax(np.abs(normals), axis=1)[:, None], 1)[:, 0] > 0
    )
    return np.where(folded, island.max() + 1 + island * 6 + side, island)


def _mean_normal(island: Ints, normals: Floats, areas: Floats) -> Floats:
    total = np.stack([np.bincount(island, normals[:, axis] * areas) for axis in range(3)], axis=1)
    return unit(total)


def _flattened(mesh: TriangleMesh, island: Ints, normals: Floats, areas: Floats, rng: Any) -> tuple[Floats, Ints]:
    """(m, 3, 2) corners in mm in the plane of each island, turned so that its box is small, lower corner at the origin."""
    mean = _mean_normal(island, normals, areas)
    helper = np.where(np.abs(mean[:, 2:]) < 0.9, [[0.0, 0.0, 1.0]], [[1.0, 0.0, 0.0]])
    across = unit(np.cross(helper, mean))
    upward = np.cross(mean, across)
    corners = mesh.vertices[mesh.faces]
    flat = np.stack(
        [np.einsum("mkj,mj->mk", corners, across[island]), np.einsum("mkj,mj->mk", corners, upward[island])], axis=-1
    )
    count = island.max() + 1
    best_area, best_turn = np.full(count, np.inf), np.zeros(count)
    label = np.repeat(island, 3)
    for turn in np.radians(np.arange(0, 90, 10)):
        x, y = _spun(flat, np.full(len(island), turn)).reshape(-1, 2).T
        area = _span(x, label, count) * _span(y, label, count)
        best_turn = np.where(area < best_area, turn, best_turn)
        best_area = np.minimum(area, best_area)
    flat = _spun(flat, (best_turn + rng.integers(0, 4, count) * np.pi / 2)[island])
    for axis in range(2):
        low = np.full(count, np.inf)
        np.minimum.at(low, label, flat[..., axis].ravel())
        flat[..., axis] -= low[island][:, None]
    return flat, island


def _spun(flat: Floats, turn: Floats) -> Floats:
    cosine, sine = np.cos(turn)[:, None], np.sin(turn)[:, None]
    return np.stack([flat[..., 0] * cosine - flat[..., 1] * sine, flat[..., 0] * sine + flat[..., 1] * cosine], axis=-1)


def _span(values: Floats, label: Ints, count: int) -> Floats:
    low, high = np.full(count, np.inf), np.full(count, -np.inf)
    np.minimum.at(low, label, values)
    np.maximum.at(high, label, values)
    return high - low


def _packed(flat: Floats, island: Ints, texels: int, gutter: float) -> Floats:
    """UVs (m, 3, 2): islands on shelves, the largest scale at which all fit."""
    count = island.max() + 1
    label = np.repeat(island, 3)
    wide, high = _span(flat[..., 0].ravel(), label, count), _span(flat[..., 1].ravel(), label, count)
    order = np.argsort(-high, kind="stable")
    low, top = 1e-3, texels / max(wide.max(), high.max())
    for _ in range(24):
        scale = 0.5 * (low + top)
        place = _shelves(wide[order] * scale + gutter, high[order] * scale + gutter, texels - gutter)
        low, top = (scale, top) if place is not None else (low, scale)
    place = _shelves(wide[order] * low + gutter, high[order] * low + gutter, texels - gutter)
    assert place is not None
    corner = np.zeros((count, 2))
    corner[order] = place + gutter
    return (flat * low + corner[island][:, None, :]) / texels


def _shelves(wide: Floats, high: Floats, room: float) -> Floats | None:
    place, x, y, shelf = np.zeros((len(wide), 2)), 0.0, 0.0, 0.0
    for number, (w, h) in enumerate(zip(wide.tolist(), high.tolist(), strict=True)):
        if x + w > room:
            x, y, shelf = 0.0, y + shelf, 0.0
        if y + h > room or w > room:
            return None
        place[number] = x, y
        x, shelf = x + w, max(shelf, h)
    return place
