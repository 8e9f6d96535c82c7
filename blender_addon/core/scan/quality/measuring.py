"""What is measured on a finished scan? From its welded mesh, before holes are filled, and from its picture as an array."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...arrays import Floats, Pixels8
from ...mesh import holes
from ...mesh.triangles import TriangleMesh, edges, face_areas, vertex_normals
from ...photos.edges import edges_of
from ...records import record
from ..units import texels_per_unit
from . import patches, verdict
from .verdict import Findings

MOST_CELLS = 256
"""Side, in cells, of the raster over the UVs at most, to bound memory."""
SHARPEST, FEWEST = 15.0, 30
"""Percentile of the edges' widths that represents the texture, and the least number of edges to judge it by."""
MOST_FACES = 400_000
"""Most faces whose edges are measured."""


@record
class Picture:
    """The picture of a scan: grey (h, w) of 8 bits, as displayed, row 0 at v = 0. factor: how many times wider the file is."""

    grey: Pixels8
    factor: float = 1.0


def measured(mesh: TriangleMesh, picture: Picture | None, length: tuple[float, bool], pixels: int) -> Findings:
    """The findings. length: (mm per unit, whether that is assumed); pixels: longer side of the pictures asked for."""
    mm_per_unit, assumed = length
    longest_mm = float(mesh.size.max()) * mm_per_unit
    a_pixel = longest_mm / (verdict.FILLS * pixels)  # mm
    edge = _edge(mesh) * mm_per_unit / a_pixel
    if picture is None or mesh.uv is None:
        unknown = float("nan")
        return Findings(unknown, 0, unknown, edge, unknown, _open_percent(mesh), longest_mm, assumed)
    shades = _shades(mesh, picture.grey)
    expected, lit = verdict.shading_of(vertex_normals(mesh.vertices, mesh.faces), shades)
    lumps, discs = verdict.lumps(patches.patches_of(mesh, mm_per_unit, (shades, expected)), lit)
    size = (round(picture.grey.shape[1] * picture.factor), round(picture.grey.shape[0] * picture.factor))
    slots: Sequence[int] = [0] if mesh.material is None else np.unique(mesh.material).tolist()
    texels = texels_per_unit(mesh, dict.fromkeys(slots, size)) / mm_per_unit * a_pixel
    soft = _soft(mesh, picture.grey) * picture.factor
    return Findings(lumps, discs, texels, edge, soft, _open_percent(mesh), longest_mm, assumed)


def _shades(mesh: TriangleMesh, grey: Pixels8) -> Floats:
    """(n,) log of the picture's linear luminance at each vertex, by one of its corners, over 3 x 3 texels."""
    assert mesh.uv is not None
    corner = np.zeros((len(mesh.vertices), 2))
    corner[mesh.faces.ravel()] = mesh.uv.reshape(-1, 2)
    height, width = grey.shape
    x, y = (np.mod(corner[:, k], 1.0) * side for k, side in ((0, width), (1, height)))
    total = np.zeros(len(corner))
    for across in (-1, 0, 1):
        for up in (-1, 0, 1):
            total += (grey[(y.astype(int) + up) % height, (x.astype(int) + across) % width] / 255.0) ** 2.2
    return np.log(np.maximum(total / 9.0, 1e-3))


def _soft(mesh: TriangleMesh, grey: Pixels8) -> float:
    """10-90 % width in texels of the sharp edges inside the charts; nan where there are too few."""
    assert mesh.uv is not None
    found = edges_of(grey)
    if not len(found.width):
        return float("nan")
    corners = np.mod(mesh.uv.reshape(-1, 2), 1.0)
    side = int(np.clip(np.sqrt(len(corners) / 12.0), 16, MOST_CELLS))  # so that few cells of a chart hold no corner
    held = np.zeros((side, side), bool)
    cells = np.minimum((corners * side).astype(int), side - 1)
    held[cells[:, 1], cells[:, 0]] = True
    inner = held.copy()
    for axis in (0, 1):
        for step in (-1, 1):
            inner &= np.roll(held, step, axis)
    row, column = (found.y * side / grey.shape[0]).astype(int), (found.x * side / grey.shape[1]).astype(int)
    width = found.width[inner[row, column]]
    return float(np.percentile(width, SHARPEST)) if len(width) >= FEWEST else float("nan")


def _edge(mesh: TriangleMesh) -> float:
    """Median length of an edge, in the mesh's units."""
    faces = mesh.faces[:: max(1, len(mesh.faces) // MOST_FACES)]
    pairs, _ = edges(faces)
    return float(np.median(np.linalg.norm(mesh.vertices[pairs[:, 0]] - mesh.vertices[pairs[:, 1]], axis=1)))


def _open_percent(mesh: TriangleMesh) -> float:
    """Area that would close all rims but the largest, in percent of the surface; the largest is the underside it stood on."""
    area = float(face_areas(mesh.vertices, mesh.faces).sum())
    return 100.0 * sum(rim.area for rim in holes.rims(mesh)[1:]) / max(area, 1e-30)
