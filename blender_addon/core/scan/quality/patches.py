"""How far is a scan's surface from a smooth form on small discs, and how much does its picture vary there?

From a disc 10 mm across the best-fitting quadric is subtracted, which removes the form; the rest is averaged in cells of 1 mm,
which removes the grain. What is left has wavelengths of about 1 to 10 mm: a scanner's lumps, or the piece's own strokes.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Bools, Floats, Ints
from ...mesh.triangles import TriangleMesh, axis_across, vertex_normals
from ...records import record

COUNT = 160
"""Number of discs that are measured."""
RADIUS, CELL = 5.0, 1.0
"""Radius of a disc and edge of a cell, mm."""
FEWEST_CELLS = 30
"""Cells, of 78 in a whole disc, that must hold a vertex: a scan of fewer than a vertex a mm can't show lumps of 1 mm."""
MOST_POINTS = 4000
"""Vertices of a disc that are used; more make its fit no surer."""
TURNED = 0.5
"""Least cosine between the normal of a vertex and that of the disc's centre; below it the vertex is on another side."""


@record
class Patches:
    """Of n discs: rms in mm of what is left without the form; expected, mean square of the log luminance that the fitted light
    gives on the mesh, less its own quadric; shown, mean product of that with the picture's (nan without a picture)."""

    rms: Floats
    expected: Floats
    shown: Floats


def patches_of(mesh: TriangleMesh, mm_per_unit: float, layers: tuple[Floats, Floats] | None, *, seed: int = 0) -> Patches:
    """Discs spread over a welded mesh.

    layers: (n,) log luminance of the picture at each vertex, and (n,) that of the mesh under its light; None: no picture.
    """
    points = mesh.vertices.astype(float) * mm_per_unit
    normals = vertex_normals(mesh.vertices, mesh.faces)
    rng = np.random.default_rng(seed)
    cells = _Cells(points)
    found = []
    for middle in _spaced_apart(points, rng):
        near = cells.around(points[middle])
        apart = points[near] - points[middle]
        near = near[(np.linalg.norm(apart, axis=1) < RADIUS) & (normals[near] @ normals[middle] > TURNED)]
        if len(near) > MOST_POINTS:
            near = rng.choice(near, MOST_POINTS, replace=False)
        patch = _measured(points[near] - points[middle], normals[middle], [layer[near] for layer in layers or ()])
        if patch is not None:
            found.append(patch)
    columns = np.array(found, float).reshape(-1, 3).T
    return Patches(columns[0], columns[1], columns[2])


class _Cells:
    """Points sorted by the cube of side `RADIUS` that they lie in."""

    def __init__(self, points: Floats):
        self._low = points.min(axis=0) - RADIUS
        place = self._key(np.floor((points - self._low) / RADIUS).astype(np.int64))
        self._order = np.argsort(place, kind="stable")
        self._sorted = place[self._order]

    @staticmethod
    def _key(cell: Ints) -> Ints:
        return (cell[..., 0] << 42) | (cell[..., 1] << 21) | cell[..., 2]

    def around(self, point: Floats) -> Ints:
        """Rows of the points in the 27 cubes round a point."""
        home = np.floor((point - self._low) / RADIUS).astype(np.int64)
        keys = self._key(home + np.array(list(np.ndindex(3, 3, 3))) - 1)
        first, last = (np.searchsorted(self._sorted, keys, side=side) for side in ("left", "right"))
        return np.concatenate([self._order[a:b] for a, b in zip(first, last, strict=True)])


def _spaced_apart(points: Floats, rng: np.random.Generator) -> Ints:
    """Rows of `COUNT` points, one from each of as many cubes as there are, so that dense parts count no more than others."""
    cubes = np.floor(points / (2.0 * RADIUS)).astype(np.int64)
    order = rng.permutation(len(points))
    _, first = np.unique(cubes[order], axis=0, return_index=True)
    rows = order[first]
    return rows if len(rows) <= COUNT else np.sort(rng.choice(rows, COUNT, replace=False))


def _measured(apart: Floats, normal: Floats, layers: list[Floats]) -> tuple[float, float, float] | None:
    """(rms, expected, shown) of one disc, its points (k, 3) from its middle; None where too few cells hold a vertex."""
    if len(apart) < FEWEST_CELLS:
        return None
    across = np.cross(normal, axis_across(normal))
    across /= max(float(np.linalg.norm(across)), 1e-12)
    x, y, z = (apart @ axis for axis in (across, np.cross(normal, across), normal))
    values, held = _in_cells(x, y, z)
    if held.sum() < FEWEST_CELLS:
        return None
    rest = _without_form(values, held)
    freedom = max(len(rest) - 6, 1)  # the quadric has six parameters
    expected = shown = np.nan
    if layers:
        picture, expected_light = (_without_form(*_in_cells(x, y, layer)) for layer in layers)
        expected, shown = float((expected_light**2).sum()) / freedom, float((expected_light * picture).sum()) / freedom
    return float(np.sqrt((rest**2).sum() / freedom)), expected, shown


def _in_cells(x: Floats, y: Floats, values: Floats) -> tuple[Floats, Bools]:
    """(10, 10) means of values in cells, and which cells hold any."""
    size = round(2 * RADIUS / CELL)
    cell = np.clip(((y + RADIUS) / CELL).astype(int), 0, size - 1) * size + np.clip(
        ((x + RADIUS) / CELL).astype(int), 0, size - 1
    )
    count = np.bincount(cell, minlength=size * size)
    total = np.bincount(cell, values, minlength=size * size)
    return (total / np.maximum(count, 1)).reshape(size, size), (count > 0).reshape(size, size)


def _without_form(values: Floats, held: Bools) -> Floats:
    """(k,) distances of the cells that hold any from the quadric that fits them best."""
    row, column = np.nonzero(held)
    v, u = (row - held.shape[0] / 2 + 0.5) * CELL, (column - held.shape[1] / 2 + 0.5) * CELL
    form = np.stack([np.ones(len(u)), u, v, u * u, u * v, v * v], axis=1)
    rest: Floats = values[held] - form @ np.linalg.lstsq(form, values[held], rcond=None)[0]
    return rest
