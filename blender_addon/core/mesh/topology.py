"""How are triangles put together, taken apart and cleaned? Joining, sub-meshes, welding, degenerate faces, rims.

All functions keep what a `TriangleMesh` carries: UVs a corner, materials, colours, marks.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from ..arrays import Bools, Ints
from .triangles import STRIP, TriangleMesh, face_areas


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
    """One mesh of several, or of none. Missing UVs and materials become 0, missing colours white, missing marks false."""
    if len(meshes) == 1:
        return meshes[0]
    if not meshes:
        return TriangleMesh(np.zeros((0, 3)), np.zeros((0, 3), np.int32))
    starts = np.cumsum([0] + [len(mesh.vertices) for mesh in meshes]).tolist()
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

    def cells(rows: Ints | slice) -> Ints:
        """(k, 3) the whole numbers that are the same for vertices to be merged."""
        places = mesh.vertices[rows]
        if distance > 0:
            return np.floor((places - low) / distance + shift).astype(np.int64)
        return np.ascontiguousarray(places + np.float32(0), np.float32).view(np.int32).astype(np.int64)

    first = first_alike(len(mesh.vertices), cells)
    kept = first == np.arange(len(first))
    if kept.all():
        return mesh
    place = (np.cumsum(kept) - 1).astype(np.int32)[first]
    return replace(
        mesh,
        vertices=mesh.vertices[kept],
        faces=place[mesh.faces],
        colours={name: values[kept] for name, values in mesh.colours.items()},
    )


def first_alike(count: int, triples: Callable[[Ints | slice], Ints]) -> Ints:
    """(count,) for each of so many rows, the first one of the same triple of whole numbers.

    triples: gives those (k, 3) of some rows, so that they need not all be in memory. A key and its row are sorted as one
    number, in half of the time that sorting an order takes; the key is cut for that, and rows of one key are compared.
    """
    first: Ints = np.arange(count, dtype=np.int64)
    left = first
    keys = np.zeros(count, np.uint64)
    for start in range(0, count, STRIP):
        strip = slice(start, min(start + STRIP, count))
        keys[strip] = _mixed(triples(strip)).view(np.uint64)
    while len(left):
        bits = np.uint64(len(left).bit_length())
        packed = np.sort((keys >> bits << bits) | np.arange(len(left), dtype=np.uint64))
        again = np.zeros(len(left) + 1, bool)  # whether a row has the key of the one before
        again[1:-1] = (packed[1:] ^ packed[:-1]) >> bits == 0
        several = again[1:] | again[:-1]
        rows = (packed[several] & ((np.uint64(1) << bits) - np.uint64(1))).astype(np.int64)
        begins = ~again[:-1][several]
        alike = rows[begins][np.cumsum(begins) - 1]  # the lowest row of each key stands first
        same = (triples(left[rows]) == triples(left[alike])).all(axis=1)
        first[left[rows[same]]] = left[alike[same]]
        other = np.sort(rows[~same])  # they have the key, cut, of another triple; few, if any
        left, keys = left[other], keys[other]
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
    return bad | _repeated(faces)


def _repeated(faces: Ints) -> Bools:
    """(m,) which faces have the vertices of an earlier one, in whatever order.

    Only faces that share their lowest vertex can; most are distinguished by that and by two bits of the others, without
    sorting.
    """
    a, b, c = faces.T
    low, high = np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)
    middle = a ^ b ^ c ^ low ^ high
    box = low.astype(np.int64) * 4 + ((middle ^ (high << 1)) & 3)
    shared = np.flatnonzero((np.bincount(box) > 1)[box]) if len(faces) else np.zeros(0, np.int64)
    low, middle, high = low[shared], middle[shared], high[shared]

    def ordered(rows: Ints | slice) -> Ints:
        """(k, 3) the vertices of faces, lowest first."""
        return np.stack([low[rows], middle[rows], high[rows]], axis=1).astype(np.int64)

    repeated = np.zeros(len(faces), bool)
    repeated[shared] = first_alike(len(shared), ordered) != np.arange(len(shared))
    return repeated


def rim_edges(faces: Ints, count: int) -> tuple[Ints, Ints]:
    """Directed edges (e, 2) that only one face uses, as that face runs them, and the face (e,) of each.

    Only edges whose undirected twin occurs once count: where three or more faces meet there is no rim to close.
    """
    if not len(faces):
        return np.zeros((0, 2), np.int64), np.zeros(0, np.int64)
    sides = [(faces[:, side], faces[:, (side + 1) % 3]) for side in range(3)]
    unpaired = _unpaired(sides, count)
    place = np.concatenate(
        [np.flatnonzero(unpaired[np.minimum(start, stop)]) + side * len(faces) for side, (start, stop) in enumerate(sides)]
    )
    face, side = place % len(faces), place // len(faces)
    edge = np.stack([faces[face, side], faces[face, (side + 1) % 3]], axis=1).astype(np.int64)
    key = np.minimum(edge[:, 0], edge[:, 1]) * count + np.maximum(edge[:, 0], edge[:, 1])
    order = np.argsort(key)
    sorted_key = key[order]
    alone = np.ones(len(order), bool)
    same = sorted_key[1:] == sorted_key[:-1]
    alone[1:] &= ~same
    alone[:-1] &= ~same
    found = np.sort(order[alone])
    return edge[found], face[found]


def _unpaired(sides: Sequence[tuple[Ints, Ints]], count: int) -> Bools:
    """(count,) the vertices that are the lower end of an edge that is not run once there and once back.

    sides: the starts and stops of edges. Each edge adds a number of 40 bits made of its higher end to its lower one, or takes
    it off where it runs back; the sum is 0 where all are paired, and elsewhere only with a probability of 10^-12. Sums of such
    numbers are exact.
    """
    total = np.zeros(count)
    for start, stop in sides:
        number = (np.maximum(start, stop).astype(np.uint64) + np.uint64(1)) * np.uint64(0x9E3779B97F4A7C15)
        number ^= number >> np.uint64(32)  # so that numbers of 8 and 18 don't add up to those of 5 and 21
        number = (number * np.uint64(0xC2B2AE3D27D4EB4F) >> np.uint64(24)).astype(float)
        total += np.bincount(np.minimum(start, stop), np.where(start < stop, number, -number), count)
    return total != 0.0
