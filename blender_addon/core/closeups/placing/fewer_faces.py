"""The piece on fewer and larger triangles, for looks whose pixels are larger than these.

Vertices in one cell of a grid, whose normals point into one octant, become one at their mean (Rossignac and Borrel, Multi-
resolution 3D approximations for rendering complex scenes, 1993). A look takes as long as there are faces, and a search takes
hundreds of looks.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats, Ints
from ...mesh.triangles import unit
from ..seen import Form


def with_fewer_faces(form: Form, grey: Floats, cell_mm: float) -> tuple[Form, Floats]:
    """The form with cells of `cell_mm`, and the grey (v,) of its vertices, as the mean of `grey` (v,)."""
    octant = (form.normals > 0) @ np.array([1, 2, 4])
    group = _groups(form.vertices, cell_mm, octant)
    count = int(group.max()) + 1
    number = np.maximum(np.bincount(group, minlength=count), 1)

    def mean(values: Floats) -> Floats:
        return np.asarray(np.bincount(group, values, count) / number)

    vertices = np.stack([mean(column) for column in form.vertices.T], axis=1)
    normals = unit(np.stack([mean(column) for column in form.normals.T], axis=1))
    others = None
    if form.others is not None and len(form.others[0]):
        beside = _groups(form.others[0], cell_mm, np.zeros(len(form.others[0]), np.int64))
        total = int(beside.max()) + 1
        size = np.bincount(beside, minlength=total)
        places = np.stack([np.bincount(beside, column, total) / size for column in form.others[0].T], axis=1)
        others = places, _kept(beside[form.others[1]])
    return Form(vertices, _kept(group[form.faces]), normals, others), mean(grey)


def _groups(vertices: Floats, cell_mm: float, octant: Ints) -> Ints:
    """(v,) which vertices become one."""
    cell = np.floor((vertices - vertices.min(axis=0)) / cell_mm).astype(np.int64)
    wide = cell.max(axis=0) + 1
    key = ((cell[:, 0] * wide[1] + cell[:, 1]) * wide[2] + cell[:, 2]) * 8 + octant
    return np.asarray(np.unique(key, return_inverse=True)[1].reshape(-1))


def _kept(faces: Ints) -> Ints:
    """The faces (m, 3) whose corners are still three, each of them once."""
    a, b, c = faces.T
    faces = faces[(a != b) & (b != c) & (c != a)]
    first = faces.argmin(axis=1)
    turned = np.take_along_axis(faces, (first[:, None] + np.arange(3)) % 3, axis=1).astype(np.int64)
    count = int(turned.max(initial=0)) + 1
    _, rows = np.unique((turned[:, 0] * count + turned[:, 1]) * count + turned[:, 2], return_index=True)
    return np.asarray(turned[np.sort(rows)])
