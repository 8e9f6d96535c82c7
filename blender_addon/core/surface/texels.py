"""Which texel lies where on the surface? The UV layout turned into one row a covered texel, in mm.

Rows of the raster run upwards: row 0 is v = 0. UVs outside 0 to 1 wrap, as a repeating texture does.
"""

from __future__ import annotations

from itertools import pairwise
from typing import NamedTuple

import numpy as np

from ..arrays import Bools, Floats, Ints
from ..mesh.triangles import face_areas, unit
from ..records import record
from ..threads import in_parallel


@record
class TexelsConstants:
    """Numbers of laying texels."""

    edge: float = 1e-4
    """Barycentric tolerance, so that a texel on a shared edge does not fall between two faces."""
    inside: float = 0.01
    """Barycentric distance: a texel that lies this far inside two faces is in both, since the layout overlaps."""
    most_repeats: float = 2.0
    """One face of a scan shows a small part of a picture; one that would show it over and over has damaged UVs."""


TEXELS = TexelsConstants()


@record
class Texels:
    """The texels covered by a UV layout.

    shape: (height, width) of the raster. index: (n,) flat raster index, ascending. face: (n,) face that owns the texel.
    weight: (n, 3) float32 barycentrics in it. shared: (n,) bool, claimed by more than one place of the surface.
    """

    shape: tuple[int, int]
    index: Ints
    face: Ints
    weight: Floats
    shared: Bools

    def __len__(self) -> int:
        return len(self.index)

    def interpolate(self, corners: Ints, values: Floats) -> Floats:
        """(n, ...) float32: values (v, ...) interpolated in each texel; `corners` (m, 3) are rows of `values` a face."""
        values = np.asarray(values, np.float32)
        total = np.zeros((len(self.face), *values.shape[1:]), np.float32)
        for corner in range(3):
            weight = self.weight[:, corner].reshape((-1,) + (1,) * (values.ndim - 1))
            total += values[corners[self.face, corner]] * weight
        return total

    def gather(self, corners: Ints, values: Floats, count: int) -> tuple[Floats, Floats]:
        """Texel values (n, k) averaged onto `count` vertices: (count, k) means and (count,) weights (texels' worth)."""
        rows = corners[self.face].ravel()
        weight = self.weight.ravel().astype(float)
        total = np.asarray(np.bincount(rows, weight, count), float)
        means = np.zeros((count, values.shape[1]))
        for column in range(values.shape[1]):
            means[:, column] = np.bincount(rows, np.repeat(values[:, column], 3) * weight, count)
        return means / np.maximum(total, 1e-9)[:, None], total

    def scatter(self, values: Floats, fill: float = 0.0) -> Floats:
        """The raster (height, width[, k]) float32 with `values` (n[, k]) in the covered texels and `fill` elsewhere."""
        height, width = self.shape
        out = np.full((height * width,) + values.shape[1:], fill, np.float32)
        out[self.index] = values
        return out.reshape((height, width) + values.shape[1:])

    def mask(self) -> Bools:
        """(height, width) bool: covered."""
        out = np.zeros(self.shape[0] * self.shape[1], bool)
        out[self.index] = True
        return out.reshape(self.shape)


def rasterize(uv: Floats, *, height: int, width: int, chunk: int = 500_000) -> Texels:
    """The texels whose centres lie in the triangles uv (m, 3, 2); the last face wins where several claim one.

    Faces without area in UV cover nothing. Non-finite UVs count as no area, and so do faces wider than `TEXELS.most_repeats`
    pictures. `chunk` bounds the memory in candidates.

    height, width: of the raster.
    """
    corners = uv.astype(np.float64)
    with np.errstate(invalid="ignore"):  # non-finite UVs have no extent and give no face
        least, most = _ends(corners)
        wide = most - least
        sound = (wide[:, 0] <= TEXELS.most_repeats) & (wide[:, 1] <= TEXELS.most_repeats)
    if not sound.all():
        corners[~sound] = 0.0
    corners -= np.floor((corners[:, 0] + corners[:, 1] + corners[:, 2]) / 3.0)[:, None]
    corners = corners * (width, height) - 0.5
    least, most = _ends(corners)
    low = np.ceil(least - 1e-3).astype(np.int64)
    span = np.maximum(np.floor(most + 1e-3).astype(np.int64) - low + 1, 0)
    doubled = _cross(corners[:, 1] - corners[:, 0], corners[:, 2] - corners[:, 0])
    count = np.where(np.abs(doubled) > 1e-9, span[:, 0] * span[:, 1], 0)
    owner = np.full(height * width, -1, np.int32)
    claims = np.zeros(height * width, np.uint8)
    second = np.zeros((height * width, 2), np.float32)
    ends = np.cumsum(count)
    cuts = np.unique(np.concatenate([[0], np.searchsorted(ends, np.arange(chunk, count.sum() + chunk, chunk)), [len(uv)]]))
    boxes = _Boxes(corners, low, span, count, doubled)
    for place, face, within, sure in in_parallel(lambda part: _claimed(boxes, part, (height, width)), pairwise(cuts)):
        owner[place] = face  # part by part, in order, so that the last face wins
        second[place] = within
        np.add.at(claims, sure, np.uint8(1))
    index = np.flatnonzero(owner >= 0)
    bary = second[index]
    weight = np.concatenate([1 - bary.sum(axis=1, keepdims=True), bary], axis=1)
    return Texels((height, width), index, owner[index], weight, claims[index] > 1)


def _ends(corners: Floats) -> tuple[Floats, Floats]:
    """(m, 2) least and greatest coordinates of triangles (m, 3, 2); by threes, which is several times faster than along a short
    axis."""
    a, b, c = corners[:, 0], corners[:, 1], corners[:, 2]
    return np.minimum(np.minimum(a, b), c), np.maximum(np.maximum(a, b), c)


def _cross(a: Floats, b: Floats) -> Floats:
    return a[:, 0] * b[:, 1] - a[:, 1] * b[:, 0]


class _Boxes(NamedTuple):
    """Faces in texels: corners (m, 3, 2); first texel, size (m, 2) and number (m,) of their boxes; doubled areas (m,)."""

    corners: Floats
    low: Ints
    span: Ints
    number: Ints
    doubled: Floats


def _claimed(boxes: _Boxes, part: tuple[int, int], shape: tuple[int, int]) -> tuple[Ints, Ints, Floats, Ints]:
    """What the faces of `part` (first, one past the last) claim of a raster of this shape.

    Returns the texels (k,), in the order of the faces; the face of each (k,); its second and third barycentric (k, 2); and the
    texels (j,) that lie well inside a face.
    """
    corners, low, span, count, doubled = boxes
    first, last = part
    number = count[first:last]
    face = np.repeat(np.arange(first, last), number)
    step = np.arange(len(face)) - np.repeat(np.cumsum(number) - number, number)
    column = low[face, 0] + step % np.maximum(span[face, 0], 1)
    row = low[face, 1] + step // np.maximum(span[face, 0], 1)
    a = corners[face, 0]
    dx, dy = column - a[:, 0], row - a[:, 1]
    e1, e2 = corners[face, 1] - a, corners[face, 2] - a
    b1 = (dx * e2[:, 1] - dy * e2[:, 0]) / doubled[face]
    b2 = (e1[:, 0] * dy - e1[:, 1] * dx) / doubled[face]
    smallest = np.minimum(np.minimum(1 - b1 - b2, b1), b2)
    place = (row % shape[0]) * shape[1] + column % shape[1]
    keep = smallest >= -TEXELS.edge
    return place[keep], face[keep], np.stack([b1[keep], b2[keep]], axis=1), place[smallest > TEXELS.inside]


def texel_sizes(vertices_mm: Floats, faces: Ints, uv: Floats, *, height: int, width: int) -> Floats:
    """(m,) edge of a square texel on each face, in mm: square root of surface over texture area; 0 where there is none.

    vertices_mm: (n, 3). faces: (m, 3). uv: (m, 3, 2). height, width: of the texture in texels.
    """
    pixels = uv.astype(np.float64) * (width, height)
    flat = 0.5 * np.abs(_cross(pixels[:, 1] - pixels[:, 0], pixels[:, 2] - pixels[:, 0]))
    solid = face_areas(vertices_mm.astype(float), faces)
    return np.where(flat > 1e-9, np.sqrt(solid / np.maximum(flat, 1e-9)), 0.0)


def typical_texel_mm(vertices_mm: Floats, faces: Ints, uv: Floats, *, height: int, width: int) -> float:
    """The median texel edge of the textured surface in mm, by area; 0 when nothing is textured.

    vertices_mm: (n, 3). faces: (m, 3). uv: (m, 3, 2). height, width: of the texture in texels.
    """
    sizes = texel_sizes(vertices_mm, faces, uv, height=height, width=width)
    area = face_areas(vertices_mm.astype(float), faces) * (sizes > 0)
    if not area.sum() > 0:
        return 0.0
    order = np.argsort(sizes)
    reach = np.cumsum(area[order])
    return float(sizes[order][np.searchsorted(reach, reach[-1] / 2)])


def extend(values: Floats, mask: Bools, steps: int) -> Floats:
    """The raster (height, width[, k]) with covered values grown `steps` texels outwards, so that filtering finds no edge."""
    height, width = mask.shape
    flat = np.pad(values.reshape(height, width, -1).astype(np.float32), ((1, 1), (1, 1), (0, 0)))
    known = np.pad(mask, 1)
    kept, wide = flat.reshape(-1, flat.shape[2]), width + 2
    for _ in range(steps):
        rim = np.zeros_like(known)
        rim[1:-1, 1:-1] = known[2:, 1:-1] | known[:-2, 1:-1] | known[1:-1, 2:] | known[1:-1, :-2]
        fresh = np.flatnonzero(rim & ~known)
        near = fresh[:, None] + np.array([-wide, wide, -1, 1])
        share = known.reshape(-1)[near].astype(np.float32)
        kept[fresh] = np.einsum("ns,nsk->nk", share, kept[near]) / share.sum(axis=1, keepdims=True)
        known.reshape(-1)[fresh] = True
    return np.ascontiguousarray(flat[1:-1, 1:-1]).reshape(values.shape)


def surface_frames(vertices: Floats, faces: Ints, uv: Floats) -> tuple[Floats, Floats]:
    """The gradients (m, 3) of u and of v on each face: how far a texture coordinate climbs per unit of length in 3D.

    On the plane of the face with edges e1, e2 and normal N (not unit): grad b1 = e2 x N / N.N, grad b2 = N x e1 / N.N.
    """
    a, b, c = (vertices[faces[:, corner]].astype(float) for corner in range(3))
    e1, e2 = b - a, c - a
    normal = np.cross(e1, e2)
    square = np.maximum(np.einsum("ij,ij->i", normal, normal), 1e-30)[:, None]
    first, second = np.cross(e2, normal) / square, np.cross(normal, e1) / square
    d1, d2 = (uv[:, 1] - uv[:, 0]).astype(float), (uv[:, 2] - uv[:, 0]).astype(float)
    return (d1[:, :1] * first + d2[:, :1] * second).astype(np.float32), (d1[:, 1:] * first + d2[:, 1:] * second).astype(
        np.float32
    )


def normals_at(texels: Texels, faces: Ints, vertex_normals: Floats) -> Floats:
    """(n, 3) float32 unit smooth normals in the texels."""
    return unit(texels.interpolate(faces, vertex_normals)).astype(np.float32)
