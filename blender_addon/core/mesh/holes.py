"""Where is a mesh open, and how is it closed so that its colour continues and no detail is invented?

A rim is a closed loop of edges that only one face uses. It is projected on its best plane, triangulated there with points
inside at the spacing of the rim, and lifted back by mean value coordinates of the rim's own positions (Floater, *Mean value
coordinates*, CAGD 20, 2003), so that a bent rim gets a smooth membrane. A rim that crosses itself in projection gets a fan.
New faces carry the mark 'filled'; their UVs point at one texel beside the rim, so that they take its colour.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace

import numpy as np

from ..arrays import Floats, Ints
from ..records import record
from .rims import open_edges
from .triangles import TriangleMesh, axis_across, face_areas, unit

FILLED = "filled"
Tessellate = Callable[[Floats, int], tuple[Floats, Ints] | None]
"""(points (n, 2), k): triangulate the polygon of the first k points, the others inside. Gives points and triangles, or None
when the polygon crosses itself."""


@record
class Rim:
    """An open rim: its vertices (k,) in the order that a cap must run, the face (k,) behind each of its edges (vertex i to
    i + 1), perimeter, area (its projection's), normal (3,) of the cap, centre (3,), and `flatness`: the RMS distance from
    the best plane over the perimeter."""

    vertices: Ints
    faces: Ints
    perimeter: float
    area: float
    normal: Floats
    centre: Floats
    flatness: float


@record
class Openings:
    """The rims of a mesh, the largest area first; how many were closed straight across a gap, and how many open edges could
    not be followed to a loop."""

    rims: tuple[Rim, ...]
    bridged: int
    left_edges: int


def openings(mesh: TriangleMesh) -> Openings:
    """All rims of a mesh, whichever way its faces run."""
    traced, _, faces = open_edges(mesh)
    found = []
    for vertices, numbers in traced.loops:  # a cap runs against the faces that it joins
        found.append(_measured(mesh.vertices, vertices[::-1], np.roll(faces[numbers][::-1], -1)))
    return Openings(tuple(sorted(found, key=lambda rim: -rim.area)), traced.bridged, traced.left)


def rims(mesh: TriangleMesh) -> list[Rim]:
    """Only the rims of `openings`."""
    return list(openings(mesh).rims)


def fans(mesh: TriangleMesh, chosen: Sequence[Rim]) -> tuple[Floats, Ints]:
    """Vertices and faces of the mesh with those rims closed by fans to their centres: enough to compute volume and mass."""
    vertices, faces = [np.asarray(mesh.vertices, float)], [np.asarray(mesh.faces)]
    for number, rim in enumerate(chosen):
        vertices.append(rim.centre[None])
        hub = np.full(len(rim.vertices), len(mesh.vertices) + number)
        faces.append(np.stack([hub, rim.vertices, np.roll(rim.vertices, -1)], axis=1))
    return np.concatenate(vertices), np.concatenate(faces)


def _measured(vertices: Floats, chain: Ints, faces: Ints) -> Rim:
    points = vertices[chain].astype(float)
    following = np.roll(points, -1, axis=0)
    centre = points.mean(axis=0)
    area_vector = 0.5 * np.cross(points - centre, following - centre).sum(axis=0)
    area = float(np.linalg.norm(area_vector))
    perimeter = float(np.linalg.norm(following - points, axis=1).sum())
    normal = area_vector / area if area > 1e-12 * perimeter**2 else np.array([0.0, 0.0, 1.0])
    heights = (points - centre) @ normal
    flatness = float(np.sqrt(np.mean(heights**2))) / perimeter if perimeter else 0.0
    return Rim(chain, faces, perimeter, area, normal, centre, flatness)


def basis(normal: Floats) -> tuple[Floats, Floats]:
    """Two unit vectors (3,) that make a right-handed frame with `normal`."""
    first = unit(np.cross(normal, axis_across(normal)))
    return first, np.cross(normal, first)


def closed(
    mesh: TriangleMesh,
    chosen: Sequence[Rim],
    tessellate: Tessellate,
    *,
    anchor: Callable[[Rim], int] | None = None,
    small: float = 0.0,
) -> TriangleMesh:
    """The mesh with some of its rims capped.

    chosen: the rims. tessellate: triangulates a flat outline with inner points.
    anchor: which of a rim's edges gives its colour to a large cap; the middle one where it is None.
    small: caps whose rim is shorter than this (mesh units) take the colour of the nearest rim edge face by face.
    """
    if not chosen:
        return mesh
    caps = [_cap(mesh, rim, tessellate, anchor, small) for rim in chosen]
    start = len(mesh.vertices)
    vertices, faces, uvs, slots = [mesh.vertices], [mesh.faces], [], []
    colours = {name: [values] for name, values in mesh.colours.items()}
    for rim, cap in zip(chosen, caps, strict=True):
        number = np.concatenate([rim.vertices, np.arange(start, start + len(cap.inner))])
        start += len(cap.inner)
        vertices.append(cap.inner.astype(mesh.vertices.dtype))
        faces.append(number[cap.faces].astype(mesh.faces.dtype))
        slots.append(np.full(len(cap.faces), cap.slot, np.int32))
        if mesh.uv is not None:
            uvs.append(cap.uv.astype(mesh.uv.dtype))
        for name, values in colours.items():
            values.append((cap.weights @ mesh.colours[name][rim.vertices]).astype(mesh.colours[name].dtype))
    added = sum(len(cap.faces) for cap in caps)
    marks = {name: np.concatenate([values, np.zeros(added, bool)]) for name, values in mesh.face_marks.items()}
    old = mesh.face_marks.get(FILLED, np.zeros(len(mesh.faces), bool))
    marks[FILLED] = np.concatenate([old, np.ones(added, bool)])
    return TriangleMesh(
        np.concatenate(vertices),
        np.concatenate(faces),
        None if mesh.uv is None else np.concatenate([mesh.uv, *uvs]),
        None if mesh.material is None else np.concatenate([mesh.material, *slots]),
        {name: np.concatenate(values) for name, values in colours.items()},
        marks,
    )


@record
class _Cap:
    inner: Floats
    weights: Floats
    faces: Ints
    uv: Floats
    slot: int


def _cap(mesh: TriangleMesh, rim: Rim, tessellate: Tessellate, anchor: Callable[[Rim], int] | None, small: float) -> _Cap:
    points = mesh.vertices[rim.vertices].astype(float)
    first, second = basis(rim.normal)
    flat = np.stack([(points - rim.centre) @ first, (points - rim.centre) @ second], axis=1)
    count = len(flat)
    inside = _inner_points(flat, rim.perimeter / count)
    filled = tessellate(np.concatenate([flat, inside]), count)
    if filled is None:
        weights = np.full((1, count), 1.0 / count)
        ring = np.arange(count)
        faces = np.stack([np.full(count, count), ring, np.roll(ring, -1)], axis=1)
        flat = np.concatenate([flat, flat.mean(axis=0, keepdims=True)])
    else:
        weights = mean_value_weights(flat, inside)
        flat, faces = filled
    slot = 0 if mesh.material is None else int(mesh.material[rim.faces[0]])
    uv = np.zeros((len(faces), 3, 2))
    if mesh.uv is not None:
        uv, slot = _pointed(mesh, rim, flat, faces, anchor, small)
    return _Cap(weights @ points, weights, faces, uv, slot)


def _inner_points(polygon: Floats, spacing: float) -> Floats:
    """Points (n, 2) of a triangular grid inside a polygon, none nearer to it than half the spacing."""
    low, high = polygon.min(axis=0), polygon.max(axis=0)
    spacing = max(spacing, float((high - low).max()) / 24.0)
    if not spacing > 0:
        return np.zeros((0, 2))
    columns = np.arange(low[0] + spacing / 2, high[0], spacing)
    rows = np.arange(low[1] + spacing / 2, high[1], spacing * np.sqrt(0.75))
    grid = np.stack(np.meshgrid(columns, rows), axis=-1)
    grid[1::2, :, 0] += spacing / 2
    points = grid.reshape(-1, 2)
    points = points[_inside(points, polygon)]
    if not len(points):
        return points
    return points[_distance_to_outline(points, polygon) > 0.6 * spacing]


def _inside(points: Floats, polygon: Floats) -> Floats:
    """(n,) whether points lie in a polygon, by the even-odd rule."""
    start, end = polygon, np.roll(polygon, -1, axis=0)
    within = np.zeros(len(points), bool)
    for block in range(0, len(points), 512):
        x, y = points[block : block + 512, 0, None], points[block : block + 512, 1, None]
        spans = (start[:, 1] > y) != (end[:, 1] > y)
        with np.errstate(divide="ignore", invalid="ignore"):
            crossing = start[:, 0] + (y - start[:, 1]) / (end[:, 1] - start[:, 1]) * (end[:, 0] - start[:, 0])
        within[block : block + 512] = (spans & (x < crossing)).sum(axis=1) % 2 == 1
    return within


def _distance_to_outline(points: Floats, polygon: Floats) -> Floats:
    start, along = polygon, np.roll(polygon, -1, axis=0) - polygon
    length = np.maximum((along**2).sum(axis=1), 1e-30)
    nearest = np.zeros(len(points))
    for block in range(0, len(points), 512):
        away = points[block : block + 512, None] - start
        part = np.clip((away * along).sum(axis=2) / length, 0.0, 1.0)
        nearest[block : block + 512] = np.linalg.norm(away - part[..., None] * along, axis=2).min(axis=1)
    return nearest


def mean_value_weights(polygon: Floats, points: Floats) -> Floats:
    """(n, k) weights of the polygon's corners for points inside it, each row adding up to 1 (Floater 2003, formula 2.1).

    They reproduce linear functions exactly, so that a flat rim gives a flat cap.
    """
    weights = np.zeros((len(points), len(polygon)))
    for block in range(0, len(points), 512):
        away = polygon - points[block : block + 512, None]
        following = np.roll(away, -1, axis=1)
        distance = np.maximum(np.linalg.norm(away, axis=2), 1e-30)
        cross = away[..., 0] * following[..., 1] - away[..., 1] * following[..., 0]
        dot = (away * following).sum(axis=2)
        half = np.tan(0.5 * np.arctan2(cross, dot))
        weights[block : block + 512] = (half + np.roll(half, 1, axis=1)) / distance
    return weights / weights.sum(axis=1, keepdims=True)


def _pointed(
    mesh: TriangleMesh, rim: Rim, flat: Floats, faces: Ints, anchor: Callable[[Rim], int] | None, small: float
) -> tuple[Floats, int]:
    """UVs (f, 3, 2) of a cap, each face shrunk to the middle of a face beside the rim; and the material slot."""
    assert mesh.uv is not None
    centres = mesh.uv[rim.faces].mean(axis=1).astype(float)
    slots = np.zeros(len(rim.faces), int) if mesh.material is None else mesh.material[rim.faces]
    whole = anchor(rim) if anchor is not None else len(rim.faces) // 2
    source = np.full(len(faces), whole)
    if rim.perimeter < small:
        middles = flat[faces].mean(axis=1)
        outline = flat[: len(rim.vertices)]
        distance = np.linalg.norm(middles[:, None] - outline, axis=2)
        distance[:, slots != slots[whole]] = np.inf
        source = distance.argmin(axis=1)
    # a little larger than a point, so that the UV triangles have an area and with it a tangent
    spread = 2e-5 * (flat - flat.min(axis=0)) / max(float(np.ptp(flat, axis=0).max()), 1e-30)
    return centres[source][:, None] + spread[faces], int(slots[whole])


def closable(mesh: TriangleMesh, rim: Rim, *, most: float = 0.6) -> bool:
    """Whether closing a rim is safe: its cap is no more than `most` of the surface, so that a sheet keeps its outline open."""
    total = float(face_areas(mesh.vertices, mesh.faces).sum())
    return max(rim.area, _fan_area(mesh, rim)) <= most * total


def _fan_area(mesh: TriangleMesh, rim: Rim) -> float:
    points = mesh.vertices[rim.vertices].astype(float) - rim.centre
    return float(0.5 * np.linalg.norm(np.cross(points, np.roll(points, -1, axis=0)), axis=1).sum())


def marked(mesh: TriangleMesh) -> TriangleMesh:
    """The mesh with a 'filled' mark on every face, false where it has none yet."""
    if FILLED in mesh.face_marks:
        return mesh
    return replace(mesh, face_marks={**mesh.face_marks, FILLED: np.zeros(len(mesh.faces), bool)})
