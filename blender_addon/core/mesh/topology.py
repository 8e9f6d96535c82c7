"""How are triangles put together, taken apart and cleaned? Joining, sub-meshes, welding, degenerate faces, rims.

All functions keep what a `TriangleMesh` carries: UVs a corner, materials, colours, marks.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..arrays import Bools, Ints
from .triangles import TriangleMesh, face_areas


def submesh(mesh: TriangleMesh, keep: Bools) -> TriangleMesh:
    """The faces where `keep` (m,) is true, with the vertices that they use, in the old order."""
    faces = mesh.faces[keep]
    used = np.zeros(len(mesh.vertices), bool)
    used[faces] = True
    number = np.cumsum(used) - 1
    return TriangleMesh(
        mesh.vertices[used],
        number[faces].astype(mesh.faces.dtype),
        None if mesh.uv is None else mesh.uv[keep],
        None if mesh.material is None else mesh.material[keep],
        {name: values[used] for name, values in mesh.colours.items()},
        {name: marks[keep] for name, marks in mesh.face_marks.items()},
    )


def joined(meshes: Sequence[TriangleMesh]) -> TriangleMesh:
    """One mesh of several. Missing UVs become 0, missing colours white, missing marks false."""
    if len(meshes) == 1:
        return meshes[0]
    starts = np.cumsum([0] + [len(mesh.vertices) for mesh in meshes])
    uv = None
    if any(mesh.uv is not None for mesh in meshes):
        uv = np.concatenate([np.zeros((len(m.faces), 3, 2), np.float32) if m.uv is None else m.uv for m in meshes])
    layers = dict.fromkeys(name for mesh in meshes for name in mesh.colours)
    marks = dict.fromkeys(name for mesh in meshes for name in mesh.face_marks)
    return TriangleMesh(
        np.concatenate([mesh.vertices for mesh in meshes]),
        np.concatenate([mesh.faces + start for mesh, start in zip(meshes, starts, strict=False)]),
        uv,
        np.concatenate([np.zeros(len(m.faces), np.int32) if m.material is None else m.material for m in meshes]),
        {
            name: np.concatenate([m.colours.get(name, np.ones((len(m.vertices), 4), np.float32)) for m in meshes])
            for name in layers
        },
        {name: np.concatenate([m.face_marks.get(name, np.zeros(len(m.faces), bool)) for m in meshes]) for name in marks},
    )


def welded(mesh: TriangleMesh, *, distance: float | None = None) -> TriangleMesh:
    """Vertices at the same position merged; UVs stay with the corners, so no seam is lost.

    distance: how near counts as the same, in the mesh's unit; by default 2e-7 of the bounding box's longest side, a few
    roundings of a 32-bit coordinate. Vertices are snapped to two grids half a cell apart, so that no pair nearer than half
    the distance is missed by lying across a cell's border along one axis.
    """
    if not len(mesh.vertices):
        return mesh
    if distance is None:
        distance = 2e-7 * float(mesh.size.max())
    for shift in (0.0, 0.5):
        mesh = _snapped(mesh, distance, shift)
    return mesh


def _snapped(mesh: TriangleMesh, distance: float, shift: float) -> TriangleMesh:
    low = mesh.vertices.min(axis=0).astype(float)
    if distance > 0:
        cells = np.floor((mesh.vertices - low) / distance + shift).astype(np.int64)
    else:
        cells = np.ascontiguousarray(mesh.vertices + np.float32(0), np.float32).view(np.int32).astype(np.int64)
    first = _first_alike(cells)
    kept = first == np.arange(len(first))
    if kept.all():
        return mesh
    place = np.cumsum(kept) - 1
    return replace(
        mesh,
        vertices=mesh.vertices[kept],
        faces=place[first][mesh.faces].astype(np.int32),
        colours={name: values[kept] for name, values in mesh.colours.items()},
    )


def _first_alike(triples: Ints) -> Ints:
    """(n,) for each of the integer triples (n, 3), the first row that holds the same."""
    first: Ints = np.arange(len(triples), dtype=np.int64)
    if not len(triples):
        return first
    key = _mixed(triples)
    order = np.argsort(key)
    key = key[order]
    starts = np.flatnonzero(np.concatenate([[True], key[1:] != key[:-1]]))
    lengths = np.diff(np.append(starts, len(order)))
    lowest = np.minimum.reduceat(order, starts)
    several = lengths > 1
    rows = order[np.repeat(several, lengths)]
    alike = np.repeat(lowest[several], lengths[several])
    same = (triples[rows] == triples[alike]).all(axis=1)  # two triples may have one key
    first[rows[same]] = alike[same]
    return first


def _mixed(triples: Ints) -> Ints:
    """(n,) 64-bit keys of integer triples (n, 3), by odd multipliers; overflow is meant. Equal triples get equal keys."""
    factors = np.array([0x9E3779B97F4A7C15, 0xC2B2AE3D27D4EB4F, 0x165667B19E3779F9], np.uint64).view(np.int64)
    with np.errstate(over="ignore"):
        return triples[:, 0] * factors[0] + triples[:, 1] * factors[1] + triples[:, 2] * factors[2]


def degenerate_faces(mesh: TriangleMesh) -> Bools:
    """(m,) which faces use a vertex twice, have next to no area, or repeat an earlier face."""
    faces = mesh.faces
    a, b, c = faces.T
    bad = (a == b) | (b == c) | (c == a)
    areas = face_areas(mesh.vertices.astype(np.float32), faces)
    size = float(mesh.size.max()) if len(mesh.vertices) else 0.0
    bad |= 2.0 * areas <= (1e-7 * size) ** 2
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    middle = a ^ b ^ c ^ low ^ high
    ordered = np.stack([low, middle, high], axis=1).astype(np.int64)
    return bad | (_first_alike(ordered) != np.arange(len(faces)))


def rim_edges(faces: Ints, count: int) -> tuple[Ints, Ints]:
    """Directed edges (e, 2) that only one face uses, as that face runs them, and the face (e,) of each.

    Only edges whose undirected twin occurs once count: where three or more faces meet there is no rim to close.
    """
    if not len(faces):
        return np.zeros((0, 2), np.int64), np.zeros(0, np.int64)
    edge = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]).astype(np.int64)
    key = np.minimum(edge[:, 0], edge[:, 1]) * count + np.maximum(edge[:, 0], edge[:, 1])
    order = np.argsort(key)
    sorted_key = key[order]
    alone = np.ones(len(order), bool)
    same = sorted_key[1:] == sorted_key[:-1]
    alone[1:] &= ~same
    alone[:-1] &= ~same
    found = np.sort(order[alone])
    return edge[found], found % len(faces)
