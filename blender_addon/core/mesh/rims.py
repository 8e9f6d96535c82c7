"""Which side of each face is outside, and where are the open rims? Faces are flipped to agree; rims are traced undirected.

Scans come with faces that run the wrong way, with edges of three faces and with rims that touch themselves. A rim that is
followed by the direction of its faces is lost at the first face that looks the other way; here its edges have no direction.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..records import record
from .components import connected_nodes
from .topology import rim_edges
from .triangles import TriangleMesh

GAP = 0.1
"""Widest gap, as a share of the length that could be followed, across which a broken rim is still closed straight: a guess."""


def oriented(mesh: TriangleMesh) -> tuple[TriangleMesh, int]:
    """The mesh with neighbouring faces facing the same side, and how many faces were flipped.

    Faces that run their shared edges in opposite directions agree and form patches. Two patches whose shared edges run the same
    way disagree: one of them is flipped, pairs with the longest common border first, so that a few bad edges never flip what is
    joined well. Within each connected part the side that most faces have is kept. Edges of three faces or more are ignored.
    """
    first, second, against = _neighbours(mesh.faces, len(mesh.vertices))
    if not against.any():
        return mesh, 0
    count = len(mesh.faces)
    patch = connected_nodes(first[~against], second[~against], count)
    near, far = patch[first[against]], patch[second[against]]
    turned = _turned_patches(near, far, np.bincount(patch))[patch]
    if not turned.any():
        return mesh, 0
    faces = mesh.faces.copy()
    faces[turned] = faces[turned][:, ::-1]
    uv = mesh.uv
    if uv is not None:
        uv = uv.copy()
        uv[turned] = uv[turned][:, ::-1]
    return replace(mesh, faces=faces, uv=uv), int(turned.sum())


def _neighbours(faces: Ints, count: int) -> tuple[Ints, Ints, Bools]:
    """Faces (e,) and (e,) that share an edge of exactly two faces, and whether both run it the same way."""
    edge = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]).astype(np.int64)
    key = np.minimum(edge[:, 0], edge[:, 1]) * count + np.maximum(edge[:, 0], edge[:, 1])
    order = np.argsort(key, kind="stable")
    sorted_key = key[order]
    starts = np.flatnonzero(np.r_[True, sorted_key[1:] != sorted_key[:-1]]) if len(key) else np.zeros(0, int)
    sizes = np.diff(np.r_[starts, len(key)])
    pairs = starts[sizes == 2]
    a, b = order[pairs], order[pairs + 1]
    forward = edge[:, 0] < edge[:, 1]
    return a % len(faces), b % len(faces), forward[a] == forward[b]


def _turned_patches(near: Ints, far: Ints, sizes: Ints) -> Bools:
    """(k,) which patches are to be flipped, by a spanning forest of their borders, the longest first (Kruskal, Proc. AMS 7,
    1956): each border says that its two patches face opposite sides."""
    low, high = np.minimum(near, far), np.maximum(near, far)
    keys, lengths = np.unique((low * len(sizes) + high)[low != high], return_counts=True)
    parent, odd = list(range(len(sizes))), [False] * len(sizes)

    def root(patch: int) -> tuple[int, bool]:
        """The root of a patch, and whether the patch faces the opposite side from its root."""
        path, turned = [], False
        while parent[patch] != patch:
            path.append(patch)
            patch = parent[patch]
        for step in reversed(path):
            turned ^= odd[step]
            parent[step], odd[step] = patch, turned
        return patch, turned

    for key in keys[np.argsort(-lengths, kind="stable")].tolist():
        (a, a_odd), (b, b_odd) = root(key // len(sizes)), root(key % len(sizes))
        if a != b:
            parent[b], odd[b] = a, not (a_odd ^ b_odd)
    roots = [root(patch) for patch in range(len(sizes))]
    home = np.array([home for home, _ in roots])
    turned = np.array([turned for _, turned in roots])
    kept = np.bincount(home, np.where(turned, -1, 1) * sizes, len(sizes))
    return turned ^ (kept[home] < 0)


@record
class Followed:
    """Closed loops: vertices (k,) and the number (k,) of the edge from each to the next, run as most of the edges were given;
    `bridged`, how many of them were closed straight across a gap (there the number is that of the edge before it); `left`, how
    many edges are in no loop."""

    loops: tuple[tuple[Ints, Ints], ...]
    bridged: int
    left: int


def followed(edges: Ints, points: Floats | None = None) -> Followed:
    """Follow edges (e, 2) to closed loops, whichever way each runs.

    Where a rim touches itself a loop closes at the first vertex that is met again. A chain that does not close is closed
    straight across where its ends lie near one another (points (n, 3) says how near; without it none is).
    """
    meeting: dict[int, list[int]] = {}
    ends = edges.tolist()
    for number, (start, end) in enumerate(ends):
        meeting.setdefault(start, []).append(number)
        meeting.setdefault(end, []).append(number)
    unused = [True] * len(ends)
    found: list[list[tuple[int, bool]]] = []
    chains: list[list[tuple[int, bool]]] = []
    odd = [vertex for vertex, numbers in meeting.items() if len(numbers) % 2]
    for start in [*odd, *meeting]:
        while True:
            path = _walked(start, ends, meeting, unused, found)
            if path is None:
                break
            if path:
                chains.append(path)
    loops = [_as_arrays(loop, ends) for loop in found if len(loop) >= 3]
    left = sum(len(loop) for loop in found if len(loop) < 3)
    bridged = 0
    for chain in chains:
        if points is not None and len(chain) >= 3 and _nearly_closed(chain, ends, points):
            loops.append(_as_arrays(chain, ends, gap=True))
            bridged += 1
        else:
            left += len(chain)
    return Followed(tuple(loops), bridged, left)


def _walked(
    start: int, ends: list[list[int]], meeting: dict[int, list[int]], unused: list[bool], found: list[list[tuple[int, bool]]]
) -> list[tuple[int, bool]] | None:
    """Walk from a vertex until nothing leads on: closed loops go to `found`, the open rest (perhaps none) is returned; None
    where no unused edge meets the vertex. An edge that runs on in the same direction is preferred."""
    path: list[tuple[int, bool]] = []
    place: dict[int, int] = {}
    here, moved = start, False
    while True:
        if here in place:  # a loop has closed: cut it off the path and go on from there
            cut = place[here]
            found.append(path[cut:])
            for number, forward in path[cut:]:
                place.pop(ends[number][0 if forward else 1], None)
            path = path[:cut]
        numbers = meeting[here]
        while numbers and not unused[numbers[-1]]:
            numbers.pop()
        if not numbers:
            return path if moved else None
        number = next((entry for entry in reversed(numbers) if unused[entry] and ends[entry][0] == here), numbers[-1])
        unused[number] = False
        moved = True
        forward = ends[number][0] == here
        place[here] = len(path)
        path.append((number, forward))
        here = ends[number][1 if forward else 0]


def _nearly_closed(chain: list[tuple[int, bool]], ends: list[list[int]], points: Floats) -> bool:
    along = [ends[number] if forward else ends[number][::-1] for number, forward in chain]
    steps = points[[end for _, end in along]].astype(float) - points[[start for start, _ in along]]
    return float(np.linalg.norm(steps.sum(axis=0))) <= GAP * float(np.linalg.norm(steps, axis=1).sum())


def _as_arrays(loop: list[tuple[int, bool]], ends: list[list[int]], *, gap: bool = False) -> tuple[Ints, Ints]:
    """Vertices and edge numbers of a loop, turned so that most of its edges run forward."""
    if 2 * sum(forward for _, forward in loop) < len(loop):
        loop = [(number, not forward) for number, forward in reversed(loop)]
    numbers = [number for number, _ in loop]
    vertices = [ends[number][0 if forward else 1] for number, forward in loop]
    if gap:
        last, forward = loop[-1]
        vertices.append(ends[last][1 if forward else 0])
        numbers.append(last)
    return np.array(vertices, np.int64), np.array(numbers, np.int64)


def open_edges(mesh: TriangleMesh) -> tuple[Followed, Ints, Ints]:
    """The followed rims of a mesh, its rim edges (e, 2) as their faces run them, and the face (e,) of each."""
    edges, faces = rim_edges(mesh.faces, len(mesh.vertices))
    return followed(edges, mesh.vertices), edges, faces
