"""A tabletop as a grid whose lines are close where the camera looks and far apart elsewhere."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import field

import numpy as np

from ...arrays import Floats, Ints
from ...mesh.triangles import TriangleMesh
from ...records import record


@record
class Extent:
    """How large a tabletop is and where it needs to be fine, in mm.

    width along x, centred on the subject; depth along y, which ends at `back` behind the subject (half the depth where that is
    None); reach: half-width of the fine part round the subject; fine, coarse: distances of the grid's lines there and far out.
    """

    width: float = 1000.0
    depth: float = 680.0
    reach: float = 90.0
    fine: float = 0.6
    coarse: float = 9.0
    back: float | None = None

    @property
    def near_y(self) -> float:
        """Where the tabletop begins, before the subject."""
        return self.far_y - self.depth

    @property
    def far_y(self) -> float:
        """Where it ends, behind the subject."""
        return 0.5 * self.depth if self.back is None else self.back


@record
class Tabletop:
    """A generated surface in mm: what carries the subject, its kind of material, and what belongs with it.

    below: what it lies on, if it is not the whole table, with z = 0 at the underside of `mesh`. beyond: a surface that
    continues behind it and carries nothing.
    """

    mesh: TriangleMesh
    material: str
    thickness: float
    below: Tabletop | None = None
    beyond: TriangleMesh | None = None
    notes: dict[str, float] = field(default_factory=dict)


def lines(low: float, high: float, *, reach: float, fine: float, coarse: float, extra: Sequence[float] = ()) -> Floats:
    """Ascending places of lines from `low` to `high`, `fine` apart within +-reach, growing to `coarse`; `extra` ones added.

    Lines nearer than a fifth of `fine` to an extra one are dropped.
    """
    half: list[float] = [0.0]
    step = fine
    farthest = max(abs(low), abs(high))
    while half[-1] < farthest:
        if half[-1] > reach:
            step = min(step * 1.12, coarse)
        half.append(half[-1] + step)
    positive = np.array(half)
    places = np.concatenate([-positive[:0:-1], positive])
    places = places[(places > low + 0.3 * fine) & (places < high - 0.3 * fine)]
    fixed = np.unique(np.concatenate([np.asarray(extra, float), [low, high]]))
    fixed = fixed[(fixed >= low) & (fixed <= high)]
    after = np.clip(np.searchsorted(fixed, places), 1, len(fixed) - 1)
    off = np.minimum(np.abs(places - fixed[after - 1]), np.abs(places - fixed[after]))
    return np.sort(np.concatenate([places[off > 0.2 * fine], fixed]))


def sheet(x: Floats, y: Floats, z: Floats, values: dict[str, Floats], *, skirt: float) -> TriangleMesh:
    """The mesh of a grid of places (rows, columns) with a skirt `skirt` deep along its rim.

    values: name to (rows, columns, 4), carried along to the mesh's colours.
    x, y, z: (rows, columns), mm.
    """
    rows, columns = z.shape
    vertices = np.stack([x, y, z], axis=-1).reshape(-1, 3)
    place = np.arange(rows * columns).reshape(rows, columns)
    a, b, c, d = place[:-1, :-1], place[:-1, 1:], place[1:, 1:], place[1:, :-1]
    faces = np.concatenate([np.stack([a, b, c], -1).reshape(-1, 3), np.stack([a, c, d], -1).reshape(-1, 3)])
    rim = np.concatenate([place[0, :-1], place[:-1, -1], place[-1, :0:-1], place[:0:-1, 0]])
    below = vertices[rim] - [0.0, 0.0, skirt]
    vertices, faces = np.concatenate([vertices, below]), np.concatenate([faces, _skirt(rim, rows * columns)])
    colours = {}
    for name, value in values.items():
        flat = value.reshape(-1, 4)
        colours[name] = np.concatenate([flat, flat[rim]]).astype(np.float32)
    return TriangleMesh(vertices.astype(np.float32), faces, colours=colours)


def _skirt(rim: Ints, first: int) -> Ints:
    count = len(rim)
    top, low = rim, first + np.arange(count)
    top_next, low_next = np.roll(top, -1), np.roll(low, -1)
    return np.concatenate([np.stack([top, low, low_next], -1), np.stack([top, low_next, top_next], -1)])


def polar(radii: Floats, sides: int) -> tuple[Floats, Floats]:
    """Places (rings, sides) of a round grid, x and y; the first radius may be 0."""
    angle = np.linspace(0, 2 * np.pi, sides, endpoint=False)
    return np.outer(radii, np.cos(angle)), np.outer(radii, np.sin(angle))


def disc(x: Floats, y: Floats, z: Floats, *, skirt: float = 0.0) -> TriangleMesh:
    """The mesh of a round grid, seen from above, with a skirt down from its rim where `skirt` is not 0.

    x, y, z: (rings, sides), mm, from the middle outwards.
    """
    rings, sides = z.shape
    vertices = np.stack([x, y, z], axis=-1)
    if skirt:
        vertices = np.concatenate([vertices, vertices[-1:] - [0.0, 0.0, skirt]])
        rings += 1
    place = np.arange(rings * sides).reshape(rings, sides)
    closed = bool((np.hypot(x[0], y[0]) == 0).all())
    if closed:
        place[0] = 0  # one vertex in the middle
    inner, outer = place[:-1], place[1:]
    inner_next, outer_next = np.roll(inner, -1, axis=1), np.roll(outer, -1, axis=1)
    faces = np.concatenate([
        np.stack([inner, outer, outer_next], -1).reshape(-1, 3), np.stack([inner, outer_next, inner_next], -1).reshape(-1, 3),
    ])  # fmt: skip
    faces = faces[(faces[:, 0] != faces[:, 1]) & (faces[:, 1] != faces[:, 2]) & (faces[:, 2] != faces[:, 0])]
    vertices = vertices.reshape(-1, 3).astype(np.float32)
    if closed:
        vertices = np.delete(vertices, np.arange(1, sides), axis=0)
        faces = np.where(faces > 0, faces - (sides - 1), faces)
    return TriangleMesh(vertices, faces)
