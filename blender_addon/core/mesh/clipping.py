"""What is left of a mesh on one side of a plane? Triangles cut clean, with their UVs, colours and marks."""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from .topology import joined, submesh
from .triangles import TriangleMesh


def clipped(mesh: TriangleMesh, normal: Floats, offset: float) -> TriangleMesh:
    """The part where normal . x >= offset. normal: (3,) unit, offset in the mesh's unit.

    A triangle that the plane crosses keeps its inner part: one triangle where one corner lies inside, two where two do.
    Neighbours share the new vertices, so that the cut is one clean rim.
    """
    height = mesh.vertices.astype(float) @ normal - offset
    inside = height >= 0
    count = inside[mesh.faces].sum(axis=1)
    if (count == 3).all():
        return mesh
    whole = submesh(mesh, count == 3)
    crossing = np.flatnonzero((count == 1) | (count == 2))
    if not len(crossing):
        return whole
    return _stitched(mesh, count == 3, _cut(mesh, crossing, height, inside))


def cropped(mesh: TriangleMesh, low: Floats, high: Floats) -> TriangleMesh:
    """The part inside an axis-aligned box, corners low and high (3,)."""
    for axis in range(3):
        direction = np.zeros(3)
        direction[axis] = 1.0
        mesh = clipped(mesh, direction, float(low[axis]))
        mesh = clipped(mesh, -direction, -float(high[axis]))
    return mesh


def _cut(mesh: TriangleMesh, crossing: Ints, height: Floats, inside: Bools) -> TriangleMesh:
    """The inner parts of the crossing triangles, as a mesh whose first vertices are the old ones."""
    faces = mesh.faces[crossing].astype(np.int64)
    within = inside[faces]
    lone_inside = within.sum(axis=1) == 1
    lone = np.where(lone_inside, within.argmax(axis=1), (~within).argmax(axis=1))
    rows = np.arange(len(faces))
    order = (lone[:, None] + np.arange(3)) % 3  # the lone corner first, the winding kept
    a, b, c = (faces[rows, order[:, place]] for place in range(3))
    total = len(mesh.vertices)
    pairs = np.concatenate([np.stack([a, b], 1), np.stack([a, c], 1)])
    low, high = pairs.min(axis=1), pairs.max(axis=1)
    _, first, inverse = np.unique(low * total + high, return_index=True, return_inverse=True)
    inverse = inverse.reshape(-1)
    low, high = low[first], high[first]
    part = (height[low] / (height[low] - height[high]))[:, None]
    new = mesh.vertices[low] + part * (mesh.vertices[high] - mesh.vertices[low])
    ab, ac = total + inverse[: len(a)], total + inverse[len(a) :]
    part_ab, part_ac = height[a] / (height[a] - height[b]), height[a] / (height[a] - height[c])
    single, double = lone_inside, ~lone_inside
    triangles = np.concatenate(
        [
            np.stack([a, ab, ac], 1)[single],
            np.stack([ab, b, c], 1)[double],
            np.stack([ab, c, ac], 1)[double],
        ]
    )
    origin = np.concatenate([crossing[single], crossing[double], crossing[double]])
    uv = None
    if mesh.uv is not None:
        corner = mesh.uv[crossing]
        ua, ub, uc = (corner[rows, order[:, place]] for place in range(3))
        uab, uac = ua + part_ab[:, None] * (ub - ua), ua + part_ac[:, None] * (uc - ua)
        uv = np.concatenate(
            [
                np.stack([ua, uab, uac], 1)[single],
                np.stack([uab, ub, uc], 1)[double],
                np.stack([uab, uc, uac], 1)[double],
            ]
        ).astype(mesh.uv.dtype)
    return TriangleMesh(
        np.concatenate([mesh.vertices, new.astype(mesh.vertices.dtype)]),
        triangles.astype(mesh.faces.dtype),
        uv,
        None if mesh.material is None else mesh.material[origin],
        {
            name: np.concatenate([values, (values[low] + part * (values[high] - values[low])).astype(values.dtype)])
            for name, values in mesh.colours.items()
        },
        {name: marks[origin] for name, marks in mesh.face_marks.items()},
    )


def _stitched(mesh: TriangleMesh, whole: Bools, cut: TriangleMesh) -> TriangleMesh:
    """Whole triangles and cut ones over one set of vertices, without those that nothing uses."""
    both = joined([submesh_over(mesh, whole, cut), submesh_over(cut, np.ones(len(cut.faces), bool), cut)])
    half = len(cut.vertices)
    faces = np.where(both.faces >= half, both.faces - half, both.faces).astype(mesh.faces.dtype)
    merged = TriangleMesh(
        cut.vertices, faces, both.uv, both.material if mesh.material is not None else None,
        cut.colours, both.face_marks,
    )  # fmt: skip
    return submesh(merged, np.ones(len(faces), bool))


def submesh_over(mesh: TriangleMesh, keep: Bools, holder: TriangleMesh) -> TriangleMesh:
    """The chosen faces of a mesh over the vertices of `holder`, which begin with the mesh's own."""
    return TriangleMesh(
        holder.vertices,
        mesh.faces[keep],
        None if mesh.uv is None else mesh.uv[keep],
        None if mesh.material is None else mesh.material[keep],
        holder.colours,
        {name: marks[keep] for name, marks in mesh.face_marks.items()},
    )
