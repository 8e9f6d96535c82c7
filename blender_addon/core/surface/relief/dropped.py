"""Finds what triangles knew that thinning a mesh took away: the full mesh's normals and heights in the thinned one's texels.

Both meshes wear the same UVs, which an edge collapse keeps, so a texel of the picture lies on both. Where the full surface lies
beside the thinned one, not only above it, its normal is read where it belongs.
"""

from __future__ import annotations

import numpy as np

from ...arrays import Floats, Ints
from ...records import record
from ..normal_maps import tangent_frames, tangent_space
from ..texels import Texels, surface_frames
from ..textured_surface import TexturedSurface
from .own_map import slopes_of_normals


@record
class DroppedConstants:
    """Numbers of the relief that thinning dropped."""

    steepest: float = 0.35
    """Cosine below which two normals in a texel are of different places rather than of one surface and its relief (a guess)."""
    farthest_edges: float = 1.0
    """Edges of the thinned mesh that the full one may lie away: farther off, something else was changed there (a guess)."""


DROPPED = DroppedConstants()


@record
class DroppedDetail:
    """In the texels of a raster: index (k,) places in it, ascending. normals: (k, 3) float32 tangent-space normals of the full
    mesh over the thinned one. height: (k,) float32 signed distance along the thinned mesh's normal, in the meshes' unit."""

    index: Ints
    normals: Floats
    height: Floats

    def at(self, index: Ints) -> tuple[Floats, Floats]:
        """Normals (n, 3) and heights (n,) in other texels of the same raster; (0, 0, 1) and 0 where nothing is known."""
        normals, height = np.tile(np.array([0, 0, 1], np.float32), (len(index), 1)), np.zeros(len(index), np.float32)
        if len(self.index):
            place = np.minimum(np.searchsorted(self.index, index), len(self.index) - 1)
            known = self.index[place] == index
            normals[known], height[known] = self.normals[place[known]], self.height[place[known]]
        return normals, height


def dropped_detail(full: TexturedSurface, thin: TexturedSurface) -> DroppedDetail:
    """What `thin` lacks of `full`, two surfaces with the same UVs in one unit, read with the same size of raster."""
    if full.texels.shape != thin.texels.shape:
        raise ValueError(f"the rasters differ: {full.texels.shape} and {thin.texels.shape}")
    index, there, here = np.intersect1d(full.texels.index, thin.texels.index, return_indices=True)
    place = _where_it_belongs(full, thin, there, here)
    normal, over = thin.normal[here], full.position[place] - thin.position[here]
    height = np.einsum("ij,ij->i", over, normal)
    beside = np.linalg.norm(over - height[:, None] * normal, axis=1)
    far = DROPPED.farthest_edges * _edge(thin)
    known = (np.einsum("ij,ij->i", full.normal[place], normal) > DROPPED.steepest) & (beside < far) & (np.abs(height) < far)
    slopes = slopes_of_normals(normal, full.normal[place])
    frames = tangent_frames(thin.vertices, thin.faces, thin.uv, thin.vertex_normal)
    texels = thin.texels
    shown = Texels(texels.shape, index, texels.face[here], texels.weight[here], texels.shared[here])
    normals = tangent_space(shown, frames, normal, slopes)
    return DroppedDetail(index[known], normals[known], height[known].astype(np.float32))


def _where_it_belongs(full: TexturedSurface, thin: TexturedSurface, there: Ints, here: Ints) -> Ints:
    """(k,) the texel of `full` over the place of each of `thin`'s texels `here`: `there`, of the same UV, moved by the
    way between the two along the surface. A texel that would leave the picture's islands stays."""
    height, width = full.texels.shape
    over = thin.position[here] - full.position[there]
    along_u, along_v = surface_frames(full.vertices, full.faces, full.uv)
    face = full.texels.face[there]
    step = [np.rint(np.einsum("ij,ij->i", over, along[face]) * size) for along, size in ((along_u, width), (along_v, height))]
    row, column = np.divmod(full.texels.index[there], width)
    column = np.clip(column + step[0], 0, width - 1).astype(np.int64)
    row = np.clip(row + step[1], 0, height - 1).astype(np.int64)
    number = np.full(height * width, -1, np.int64)
    number[full.texels.index] = np.arange(len(full))
    moved = number[row * width + column]
    before = np.linalg.norm(over, axis=1)
    nearer = np.linalg.norm(thin.position[here] - full.position[np.maximum(moved, 0)], axis=1) < before
    return np.where((moved >= 0) & nearer, moved, there)


def _edge(surface: TexturedSurface) -> float:
    """Median length of the faces' first edges."""
    return float(
        np.median(np.linalg.norm(surface.vertices[surface.faces[:, 1]] - surface.vertices[surface.faces[:, 0]], axis=1))
    )
