"""Simple solids as triangle meshes, in any unit: lathed shapes, tubes, ribbons, slabs, spheres."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from ..arrays import Floats, Ints
from ..noise import noise
from .triangles import TriangleMesh, unit


def slotted(mesh: TriangleMesh, slot: int) -> TriangleMesh:
    """The mesh with all faces in one material slot."""
    return TriangleMesh(mesh.vertices, mesh.faces, material=np.full(len(mesh.faces), slot, np.int32))


def moved(mesh: TriangleMesh, matrix: ArrayLike, offset: ArrayLike = (0.0, 0.0, 0.0)) -> TriangleMesh:
    """The mesh turned by a (3, 3) matrix and then shifted."""
    return TriangleMesh(
        mesh.vertices @ np.asarray(matrix, float).T + np.asarray(offset, float), mesh.faces, material=mesh.material
    )


def strip_faces(rows: int, columns: int, *, closed_columns: bool = False, closed_rows: bool = False) -> Ints:
    """Faces of a grid of vertices (rows, columns), outwards when columns run counter-clockwise seen along the rows.

    closed_columns, closed_rows: whether the last column, or row, is joined to the first.
    """
    place = np.arange(rows * columns).reshape(rows, columns)
    if closed_columns:
        place = np.concatenate([place, place[:, :1]], axis=1)
    if closed_rows:
        place = np.concatenate([place, place[:1]], axis=0)
    a, b, c, d = place[:-1, :-1], place[:-1, 1:], place[1:, 1:], place[1:, :-1]
    return np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])


def lathe(profile: ArrayLike, *, sides: int = 48) -> TriangleMesh:
    """A solid of revolution: profile (n, 2) of (radius, z) from the bottom up; closed at ends whose radius is 0."""
    outline = np.asarray(profile, float)
    angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    ring = np.stack([np.cos(angle), np.sin(angle)], axis=1)
    xy = outline[:, None, :1] * ring[None]
    z = np.broadcast_to(outline[:, None, 1:], (*xy.shape[:2], 1))
    vertices = np.concatenate([xy, z], axis=2).reshape(-1, 3)
    return TriangleMesh(vertices, strip_faces(len(outline), sides, closed_columns=True))


def tube(
    path: Floats, section: Floats, *, scale: Floats | None = None, up: ArrayLike = (0.0, 0.0, 1.0), caps: bool = True
) -> TriangleMesh:
    """A section swept along a path.

    path: (n, 3). section: (k, 2), counter-clockwise. scale: (n, 2) sizes of the section along the way.
    up: the section's first axis stays square to it, its second turns towards it. caps: close both ends.
    """
    path, section = np.asarray(path, float), np.asarray(section, float)
    ahead = unit(np.gradient(path, axis=0))
    side = np.cross(ahead, np.asarray(up, float))
    weak = np.linalg.norm(side, axis=1) < 1e-6
    side[weak] = np.cross(ahead[weak], [0.0, 1.0, 0.0])
    side = unit(side)
    above = np.cross(side, ahead)
    size = np.ones((len(path), 2)) if scale is None else np.asarray(scale, float)
    return framed_tube(path, section, size, side, above, caps=caps)


def framed_tube(
    path: Floats, section: Floats, scale: Floats, across: Floats, above: Floats, *, caps: bool = True
) -> TriangleMesh:
    """A section swept along a path with given frames.

    path: (n, 3). section: (k, 2), counter-clockwise. scale: (n, 2) sizes of the section along the way.
    across, above: (n, 3) the section's first and second axis at each place. caps: close both ends.
    """
    ring = section[None] * scale[:, None]
    grid = path[:, None] + ring[..., :1] * across[:, None] + ring[..., 1:] * above[:, None]
    rows, columns = grid.shape[:2]
    points, faces = grid.reshape(-1, 3), strip_faces(rows, columns, closed_columns=True)
    if caps:
        points = np.concatenate([points, grid[0].mean(axis=0)[None], grid[-1].mean(axis=0)[None]])
        k = np.arange(columns)
        after, first, last = np.roll(k, -1), rows * columns, (rows - 1) * columns
        start = np.stack([np.full(columns, first), after, k], -1)
        faces = np.concatenate([faces, start, np.stack([np.full(columns, first + 1), last + k, last + after], -1)])
    return _outwards(TriangleMesh(points, faces))


def _outwards(mesh: TriangleMesh) -> TriangleMesh:
    a, b, c = (mesh.vertices[mesh.faces[:, k]] - mesh.vertices.mean(axis=0) for k in range(3))
    if np.einsum("ij,ij->", a, np.cross(b, c)) < 0:
        return TriangleMesh(mesh.vertices, mesh.faces[:, ::-1], material=mesh.material)
    return mesh


def circle(radius: float, sides: int = 16, *, flat: float = 1.0) -> Floats:
    """(sides, 2) points of a circle, its second axis `flat` times as long."""
    angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    return radius * np.stack([np.cos(angle), flat * np.sin(angle)], axis=1)


def rounded_rectangle(width: float, height: float, radius: float, corner: int = 4) -> Floats:
    """(4 corner, 2) points of a rectangle round the origin with rounded corners, counter-clockwise.

    width, height, radius: in one unit; the radius is cut to what fits. corner: points a corner.
    """
    radius = min(radius, 0.49 * width, 0.49 * height)
    points = []
    for quarter, (sx, sy) in enumerate(((1, 1), (-1, 1), (-1, -1), (1, -1))):
        angle = np.linspace(0, np.pi / 2, corner) + quarter * np.pi / 2
        centre = np.array([sx * (width / 2 - radius), sy * (height / 2 - radius)])
        points.append(centre + radius * np.stack([np.cos(angle), np.sin(angle)], axis=1))
    return np.concatenate(points)


def slab(
    outline: Floats, thickness: float, *, rounding: float = 0.3, steps: int = 3, dome: Floats | None = None
) -> TriangleMesh:
    """A plate with rounded edges, lying on z = 0.

    outline: (k, 2), star-shaped round its mean and counter-clockwise. thickness: of the plate. rounding: radius of its edges,
    in `steps` steps.
    dome: (rings,) fractions from the rim (0) to the middle (1) at which the faces get inner rings; for plates that are bent
    later.
    """
    outline = np.asarray(outline, float)
    centre = outline.mean(axis=0)
    rounding = min(rounding, 0.49 * thickness)
    angle = np.linspace(-np.pi / 2, np.pi / 2, 2 * steps)
    normal = _outline_normals(outline)
    inner = np.array([0.3, 0.6]) if dome is None else np.asarray(dome, float)
    rows = [(0.0, t, 0.0) for t in inner[::-1]]
    rows += [
        (rounding * (1 - np.cos(a)), 0.0, thickness / 2 + (thickness / 2 - rounding) * np.sign(a) + rounding * np.sin(a))
        for a in angle
    ]
    rows += [(0.0, t, thickness) for t in inner]
    rings = []
    for inset, towards, z in rows:
        at = outline - normal * (inset if towards == 0.0 else rounding)
        at = at + (centre - at) * towards
        rings.append(np.column_stack([at, np.full(len(at), z)]))
    count = len(outline)
    vertices = np.concatenate([*rings, [[*centre, 0.0]], [[*centre, thickness]]])
    faces = strip_faces(len(rings), count, closed_columns=True)
    k = np.arange(count)
    after, top = np.roll(k, -1), (len(rings) - 1) * count
    bottom = np.stack([np.full(count, len(rings) * count), after, k], -1)
    cover = np.stack([np.full(count, len(rings) * count + 1), top + k, top + after], -1)
    return TriangleMesh(vertices, np.concatenate([faces, bottom, cover]))


def _outline_normals(outline: Floats) -> Floats:
    ahead = np.roll(outline, -1, axis=0) - np.roll(outline, 1, axis=0)
    return unit(np.stack([ahead[:, 1], -ahead[:, 0]], axis=1))


def ball(level: int = 2) -> TriangleMesh:
    """A unit sphere of even triangles: an icosahedron, each edge halved `level` times."""
    golden = (1 + 5**0.5) / 2
    vertices = [
        (-1, golden, 0), (1, golden, 0), (-1, -golden, 0), (1, -golden, 0), (0, -1, golden), (0, 1, golden),
        (0, -1, -golden), (0, 1, -golden), (golden, 0, -1), (golden, 0, 1), (-golden, 0, -1), (-golden, 0, 1),
    ]  # fmt: skip
    faces = np.array([
        (0, 11, 5), (0, 5, 1), (0, 1, 7), (0, 7, 10), (0, 10, 11), (1, 5, 9), (5, 11, 4), (11, 10, 2), (10, 7, 6), (7, 1, 8),
        (3, 9, 4), (3, 4, 2), (3, 2, 6), (3, 6, 8), (3, 8, 9), (4, 9, 5), (2, 4, 11), (6, 2, 10), (8, 6, 7), (9, 8, 1),
    ])  # fmt: skip
    points = unit(np.array(vertices, float))
    for _ in range(level):
        points, faces = _halved(points, faces)
    return TriangleMesh(points, faces)


def _halved(points: Floats, faces: Ints) -> tuple[Floats, Ints]:
    pairs = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    unique, place = np.unique(pairs, axis=0, return_inverse=True)
    middle = unit(points[unique].mean(axis=1))
    ab, bc, ca = (len(points) + place.reshape(3, -1)).reshape(3, -1)
    a, b, c = faces.T
    new = np.concatenate([
        np.stack([a, ab, ca], -1), np.stack([ab, b, bc], -1), np.stack([ca, bc, c], -1), np.stack([ab, bc, ca], -1)
    ])  # fmt: skip
    return np.concatenate([points, middle]), new


def roughened(mesh: TriangleMesh, amount: float, size: float, *, seed: int) -> TriangleMesh:
    """The mesh with its vertices pushed along their direction from the middle by noise.

    amount: of the push, in mesh units. size: of the noise's features. seed: of the noise.
    """
    p = mesh.vertices
    field = noise(p[:, 0] / size, p[:, 1] / size + 1.7 * p[:, 2] / size, seed=seed)
    field = field + 0.5 * noise(p[:, 2] / size * 2.1, p[:, 0] / size * 2.1 - p[:, 1] / size, seed=seed + 1)
    return TriangleMesh(p + unit(p - p.mean(axis=0)) * amount * field[:, None], mesh.faces, material=mesh.material)


def cut_flat(mesh: TriangleMesh, normal: ArrayLike, distance: float) -> TriangleMesh:
    """The mesh with all vertices beyond the plane n . p = distance projected onto it (convex solids stay closed)."""
    normal = np.asarray(normal, float)
    out = np.maximum(mesh.vertices @ normal - distance, 0.0)
    return TriangleMesh(mesh.vertices - out[:, None] * normal, mesh.faces, material=mesh.material)
