"""Which faces lie side by side, how deep is the crease between them, and which border between two regions costs least?"""

from __future__ import annotations

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..records import record
from .triangles import TriangleMesh, face_crosses, unit


@record
class FaceGraph:
    """The faces of a mesh and their neighbours.

    first, second: (e,) faces that share an edge. length: (e,) of that edge. centre, normal: (m, 3) and area: (m,) of the faces.
    The unit is the mesh's.
    """

    first: Ints
    second: Ints
    length: Floats
    centre: Floats
    normal: Floats
    area: Floats

    @staticmethod
    def of(mesh: TriangleMesh) -> FaceGraph:
        """From a mesh; an edge of more than two faces joins each to the next."""
        vertices, faces = np.asarray(mesh.vertices, float), mesh.faces
        cross = face_crosses(vertices, faces)
        size = np.linalg.norm(cross, axis=1)
        pairs = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]).astype(np.int64), axis=1)
        key = pairs[:, 0] * len(vertices) + pairs[:, 1]
        order = np.argsort(key, kind="stable")
        face = np.tile(np.arange(len(faces)), 3)[order]
        same = np.flatnonzero(key[order][1:] == key[order][:-1])
        ends = pairs[order[same]]
        length = np.linalg.norm(vertices[ends[:, 0]] - vertices[ends[:, 1]], axis=1)
        return FaceGraph(
            face[same],
            face[same + 1],
            length,
            vertices[faces].mean(axis=1),
            cross / np.maximum(size, 1e-30)[:, None],
            0.5 * size,
        )

    def summed(self, values: Floats) -> Floats:
        """(m, k) sums of the neighbours' values (m, k)."""
        count = len(self.area)
        out = np.zeros((count, values.shape[1]))
        for column in range(values.shape[1]):
            out[:, column] = np.bincount(self.first, values[self.second, column], count)
            out[:, column] += np.bincount(self.second, values[self.first, column], count)
        return out

    def smoothed_normals(self, width: float) -> Floats:
        """(m, 3) normals averaged over about `width`."""
        spacing = float(np.median(np.linalg.norm(self.centre[self.first] - self.centre[self.second], axis=1))) + 1e-30
        weighted = self.normal * self.area[:, None]
        for _ in range(int(np.clip(round((width / spacing) ** 2 / 3.0), 1, 30))):
            weighted = 0.4 * weighted + 0.2 * self.summed(weighted)
        return unit(weighted)

    def creases(self, width: float, normal: Floats | None = None) -> Floats:
        """(e,) how far the surface folds inwards across each edge, in radians over about twice the width; 0 where not.

        normal: (m, 3) what `smoothed_normals` gives for that width, where it is there already.
        """
        normal = self.smoothed_normals(width) if normal is None else normal
        along = self.centre[self.second] - self.centre[self.first]
        distance = np.maximum(np.linalg.norm(along, axis=1), 1e-30)
        bend = np.einsum("ij,ij->i", normal[self.second] - normal[self.first], along) / distance**2
        return np.clip(-bend * 2.0 * width, 0.0, np.pi)

    def components(self, which: Bools) -> Ints:
        """(m,) component of each chosen face among the chosen (-1 for the others), by label propagation."""
        inside = which[self.first] & which[self.second]
        first, second = self.first[inside], self.second[inside]
        label = np.arange(len(self.area))
        while True:
            low = np.minimum(label[first], label[second])
            new = label.copy()
            np.minimum.at(new, first, low)
            np.minimum.at(new, second, low)
            new = new[new]
            if np.array_equal(new, label):
                break
            label = new
        return np.where(which, label, -1)


def cheapest_border(
    count: int, first: Ints, second: Ints, cost: Floats, bias: Floats, *, rounds: int = 600, start: Floats | None = None
) -> Floats:
    """(count,) a label 0 or 1 for each node, so that the cost of the cut edges plus the bias of the nodes labelled 1 is least.

    The minimum cut as its convex relaxation, total variation on a graph, whose thresholded solution is a minimum cut (Chan,
    Esedoglu & Nikolova 2006); solved by the preconditioned primal-dual method (Pock & Chambolle 2011).
    cost: (e,) >= 0, of each edge. bias: (count,) > 0 favours label 0, < 0 label 1; an infinite bias fixes the label.

    first, second: (e,) the nodes that each edge joins. rounds: of the solver, at most. start: (count,) labels to begin with.
    """
    held = ~np.isfinite(bias)
    value = np.full(count, 0.5) if start is None else start.astype(float).copy()
    value[held] = (bias[held] < 0).astype(float)
    force = np.where(held, 0.0, bias)
    total = np.bincount(first, cost, count) + np.bincount(second, cost, count)
    step = 1.0 / np.maximum(total, 1e-9)
    flow, ahead = np.zeros(len(first)), value.copy()
    for _ in range(rounds):
        flow = np.clip(flow + (ahead[first] - ahead[second]) * 0.5 / np.maximum(cost, 1e-9) * cost, -1.0, 1.0)
        pushed = np.bincount(first, cost * flow, count) - np.bincount(second, cost * flow, count)
        new = np.clip(value - step * (pushed + force), 0.0, 1.0)
        new[held] = value[held]
        ahead = 2.0 * new - value
        value = new
    return value
