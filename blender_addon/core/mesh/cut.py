"""How is a mesh cut in two along a line on its surface, and both halves closed? Attributes are kept, caps are marked."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..records import record
from .polygon import fill_loops, vector_area
from .topology import submesh
from .triangles import TriangleMesh

FILLED = "filled"
"""Face mark of faces that close a hole: what they stand for was never scanned."""
TONE = ".tone"
"""Name of a layer that lives only while a mesh is cut."""
CAP_UV = 2e-5
"""Width in UV space of a cap's island: within one texel, yet not degenerate, so that tangents stay defined."""


@record
class CutMesh:
    """Two closed halves: `above` where the field was positive, `below` elsewhere.

    line: (k, 3) points of the cut line, loop after loop; loop_sizes: their lengths in points. above_cap, below_cap: (m,)
    bool, the faces of each half that close it.
    """

    above: TriangleMesh
    below: TriangleMesh
    line: Floats
    loop_sizes: tuple[int, ...]
    above_cap: Bools
    below_cap: Bools


def cut(mesh: TriangleMesh, field: Floats, *, tone: Floats | None = None, snap: float = 0.04) -> CutMesh:
    """Cut where the field (n,) given at the vertices is zero, and close both halves over the same surface.

    The line runs straight through each triangle between linearly interpolated zeros (marching triangles); snap keeps
    it that share of an edge away from vertices, so that no slivers arise. Openings that the mesh had before are closed
    as well. Faces that close carry the mark 'filled'. tone: (n,) lightness at the vertices; a cap then takes its
    texture from the spot of its rim that has the usual tone.
    """
    if tone is not None:
        mesh = replace(mesh, colours={**mesh.colours, TONE: np.asarray(tone, float)[:, None]})
    whole, above, segments = split(mesh, field, snap=snap)
    loops = chain(segments)
    points = np.asarray(whole.vertices, float)
    cap = _cap_faces([loop[::-1] for loop in loops], points)
    halves = []
    for side, lid in ((above, cap), (~above, cap[:, ::-1])):
        halves.append(closed(submesh(with_faces(whole, lid, side), np.concatenate([side, np.ones(len(lid), bool)]))))
    line = points[np.concatenate(loops)] if loops else np.zeros((0, 3))
    (over, over_cap), (under, under_cap) = ((_without_tone(half), lid) for half, lid in halves)
    over_cap = over_cap | (np.arange(len(over_cap)) >= above.sum())
    under_cap = under_cap | (np.arange(len(under_cap)) >= (~above).sum())
    return CutMesh(over, under, line, tuple(map(len, loops)), over_cap, under_cap)


def split(mesh: TriangleMesh, field: Floats, *, snap: float = 0.04) -> tuple[TriangleMesh, Bools, Ints]:
    """The mesh with its triangles split along the zero line of the field.

    Returns the mesh, (m,) bool which faces lie above, and (k, 2) the edges of the cut line, in the direction in which the faces
    above run along them.
    """
    field = np.asarray(field, float)
    over = field > 0
    sides = over[mesh.faces]
    count = sides.sum(axis=1)
    mixed = np.flatnonzero((count == 1) | (count == 2))
    plain = np.flatnonzero((count == 0) | (count == 3))
    odd = np.argmax(sides[mixed] == (count[mixed] == 1)[:, None], axis=1)  # the corner that is alone on its side
    corner = (odd[:, None] + np.arange(3)) % 3
    ring = np.take_along_axis(mesh.faces[mixed], corner, axis=1).astype(np.int64)
    pairs = np.concatenate([ring[:, [0, 1]], ring[:, [0, 2]]])
    low, high = pairs.min(axis=1), pairs.max(axis=1)
    keys, inverse = np.unique(low * len(mesh.vertices) + high, return_inverse=True)
    low, high = keys // len(mesh.vertices), keys % len(mesh.vertices)
    share = np.clip(field[low] / np.where(field[low] == field[high], 1.0, field[low] - field[high]), snap, 1.0 - snap)
    added = _between(mesh.vertices[low], mesh.vertices[high], share)
    first, second = (inverse.reshape(2, -1) + len(mesh.vertices)) if len(mixed) else np.zeros((2, 0), np.int64)
    alone = np.stack([ring[:, 0], first, second], axis=1)
    rest = np.stack([first, ring[:, 1], ring[:, 2]], axis=1)
    last = np.stack([first, ring[:, 2], second], axis=1)
    faces = np.concatenate([mesh.faces[plain], alone, rest, last])
    source = np.concatenate([plain, mixed, mixed, mixed])
    alone_over = count[mixed] == 1
    above = np.concatenate([count[plain] == 3, alone_over, ~alone_over, ~alone_over])
    uv = None
    if mesh.uv is not None:
        shares = []
        for new in (first - len(mesh.vertices), second - len(mesh.vertices)):  # from the lone corner to either other
            shares.append(np.where(ring[:, 0] == low[new], share[new], 1.0 - share[new]))
        uv = np.concatenate([mesh.uv[plain], *_split_uv(mesh.uv[mixed], corner, shares)])
    out = TriangleMesh(
        np.concatenate([mesh.vertices, added]),
        faces.astype(np.int32),
        uv,
        None if mesh.material is None else mesh.material[source],
        {name: np.concatenate([values, _between(values[low], values[high], share)]) for name, values in mesh.colours.items()},
        {name: marks[source] for name, marks in mesh.face_marks.items()},
    )
    segments = np.where(alone_over[:, None], np.stack([first, second], 1), np.stack([second, first], 1))
    return out, above, segments


def _between(start: Floats, end: Floats, share: Floats) -> Floats:
    return (start + (end - start) * share[:, None].astype(start.dtype)).astype(start.dtype)


def _split_uv(uv: Floats, corner: Ints, shares: Sequence[Floats]) -> list[Floats]:
    """The corners' UV of the three kinds of new faces; each face interpolates its own, so seams stay seams.

    uv (k, 3, 2) of the faces that are cut; corner (k, 3) their corners, the lone one first; shares: where the cut lies on the
    way from it to the second and to the third, (k,) each, 0 to 1.
    """
    turned = np.take_along_axis(uv, corner[..., None], axis=1)
    first, second = (
        turned[:, 0] + (turned[:, other] - turned[:, 0]) * share[:, None].astype(uv.dtype)
        for other, share in zip((1, 2), shares, strict=True)
    )
    a, b, c = turned[:, 0], turned[:, 1], turned[:, 2]
    return [np.stack([a, first, second], 1), np.stack([first, b, c], 1), np.stack([first, c, second], 1)]


def chain(segments: Ints) -> list[Ints]:
    """Closed loops of directed edges (k, 2); open ends are joined into loops of their own by their straight chord."""
    following: dict[int, list[int]] = {}
    for start, end in segments.tolist():
        following.setdefault(start, []).append(end)
    ends = {end for _, end in segments.tolist()}
    starts = [start for start in following if start not in ends]  # open chains first, from their true beginning
    loops: list[Ints] = []
    for start in [*starts, *list(following)]:
        while following.get(start):
            loop, place = [start], start
            while following.get(place):
                place = following[place].pop()
                if place == start:
                    break
                loop.append(place)
            if len(loop) >= 3:
                loops.append(np.array(loop, np.int64))
    return loops


def open_loops(faces: Ints) -> list[Ints]:
    """The loops of edges that only one face uses, in the direction in which a face that closes them must run."""
    pairs = np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]).astype(np.int64)
    if not len(pairs):
        return []
    stride = int(pairs.max()) + 1
    forward, backward = pairs[:, 0] * stride + pairs[:, 1], pairs[:, 1] * stride + pairs[:, 0]
    single = ~np.isin(forward, backward)
    return chain(pairs[single][:, ::-1])


def _cap_faces(loops: list[Ints], points: Floats) -> Ints:
    """Triangles that close the loops; loops whose outlines nest are closed together, as a ring."""
    if not loops:
        return np.zeros((0, 3), np.int64)
    areas = np.array([vector_area(points[loop]) for loop in loops])
    normal = areas.sum(axis=0)
    if np.linalg.norm(normal) < 1e-3 * np.linalg.norm(areas, axis=1).sum() or np.linalg.norm(normal) == 0:
        normal = areas[int(np.argmax(np.linalg.norm(areas, axis=1)))]
    if np.linalg.norm(normal) == 0:
        normal = np.array([0.0, 0.0, 1.0])
    return fill_loops(loops, points, normal)


def with_faces(mesh: TriangleMesh, faces: Ints, beside: Bools) -> TriangleMesh:
    """The mesh with faces added that close it: marked 'filled', material and UV taken from the faces (mask) beside them."""
    count = len(faces)
    used = np.flatnonzero(beside)
    home = np.zeros(len(mesh.vertices), np.int64)  # some face at each vertex, from which a cap takes material and UV
    corner_of = np.zeros(len(mesh.vertices), np.int64)
    for corner in range(3):
        home[mesh.faces[used, corner]] = used
        corner_of[mesh.faces[used, corner]] = corner
    lender = np.full(count, _usual_vertex(mesh, faces) if count else 0)
    uv = None
    if mesh.uv is not None:
        spot = mesh.uv[home[lender], corner_of[lender]]
        island = np.array([[0.0, 0.0], [CAP_UV, 0.0], [0.0, CAP_UV]], mesh.uv.dtype)
        uv = np.concatenate([mesh.uv, spot[:, None] + island])
    marks = {name: np.concatenate([values, np.zeros(count, bool)]) for name, values in mesh.face_marks.items()}
    filled = marks.get(FILLED, np.zeros(len(mesh.faces) + count, bool)).copy()
    filled[len(mesh.faces) :] = True
    marks[FILLED] = filled
    material = None if mesh.material is None else np.concatenate([mesh.material, mesh.material[home[lender]]])
    joined = np.concatenate([mesh.faces, faces.astype(mesh.faces.dtype).reshape(-1, 3)])
    return TriangleMesh(mesh.vertices, joined, uv, material, mesh.colours, marks)


def _usual_vertex(mesh: TriangleMesh, faces: Ints) -> int:
    """The vertex of these faces whose tone is nearest to their median tone; without tones the one in the middle of the list."""
    used = np.unique(faces)
    if TONE not in mesh.colours:
        return int(used[len(used) // 2])
    tone = mesh.colours[TONE][used, 0]
    return int(used[np.argmin(np.abs(tone - np.median(tone)))])


def _without_tone(mesh: TriangleMesh) -> TriangleMesh:
    return replace(mesh, colours={name: values for name, values in mesh.colours.items() if name != TONE})


def closed(mesh: TriangleMesh) -> tuple[TriangleMesh, Bools]:
    """The mesh with every opening filled, and (m,) bool which faces do that."""
    before = len(mesh.faces)
    points = np.asarray(mesh.vertices, float)
    lids = [_cap_faces([loop], points) for loop in open_loops(mesh.faces)]
    if not lids:
        if FILLED not in mesh.face_marks:
            mesh = with_faces(mesh, np.zeros((0, 3), np.int64), np.ones(before, bool))
        return mesh, np.zeros(before, bool)
    mesh = with_faces(mesh, np.concatenate(lids), np.ones(before, bool))
    return mesh, np.arange(len(mesh.faces)) >= before


def seated(mesh: TriangleMesh, cap: Bools, target: Floats, *, reach: float, most: float) -> tuple[TriangleMesh, float]:
    """The mesh with the vertices of its cap moved to `target` and those near them carried along; and the largest move made.

    cap: (m,) bool faces. target: (k, 3) for the cap's vertices in rising order; those farther than `most` stay where they are.
    reach: how far from the cap's rim the rest still follows, fading to nothing.
    """
    rim = np.unique(mesh.faces[cap])
    if not len(rim):  # a piece that only touches its stand has no cut
        return mesh, 0.0
    points = np.asarray(mesh.vertices, float)
    move = target - points[rim]
    far = np.linalg.norm(move, axis=1)
    move[far > most] = 0.0
    out = points.copy()
    low, high = points[rim].min(axis=0) - reach, points[rim].max(axis=0) + reach
    near = np.flatnonzero(((points > low) & (points < high)).all(axis=1))
    for part in np.array_split(near, max(1, len(near) // 500)):
        distance = np.linalg.norm(points[part][:, None] - points[rim][None], axis=2)
        weight = np.clip(1.0 - distance / reach, 0.0, 1.0) ** 4 + 1e-12
        share = np.clip(1.0 - distance.min(axis=1) / reach, 0.0, 1.0)
        fade = share * share * (3.0 - 2.0 * share)
        out[part] += fade[:, None] * (weight @ move) / weight.sum(axis=1, keepdims=True)
    out[rim] = points[rim] + move
    return replace(mesh, vertices=out), float(far[far <= most].max(initial=0.0))
