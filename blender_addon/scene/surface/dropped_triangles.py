"""Reads the scan and its thinned mesh as input of `core/surface/relief/dropped`: what the triangles that are gone knew."""

from __future__ import annotations

from collections.abc import Generator
from functools import partial

import numpy as np

from ...core.arrays import Floats
from ...core.mesh.topology import welded
from ...core.mesh.triangles import TriangleMesh
from ...core.surface.relief.dropped import DroppedDetail, dropped_detail
from ...core.surface.textured_surface import TexturedSurface, read_surface, without
from ...job.files.aside import aside
from ...job.step import Progress
from ..meshes import read_mesh
from ..scan.decimation import THINNED_FROM
from ..stage import Stage


def dropped_triangles(
    stage: Stage, surface: TexturedSurface, progress: Progress
) -> Generator[Progress, None, tuple[Floats, Floats] | None]:
    """Tangent-space normals (n, 3) and heights (n,) mm of the scan over its thinned mesh in the texels of the piece's
    `surface`; None where nothing was thinned, or a mesh is gone or has no UVs.

    The cleaned scan is compared and not the piece, so that what was sculpted on the piece by hand stays as it is.
    """
    scan, clean, upright = (stage.find(role, "1") for role in ("scan", "clean", "upright"))
    if scan is None or clean is None or upright is None or THINNED_FROM not in clean or surface.on_vertices:
        return None
    mm_per_unit = float(upright["bozzetto_mm_per_unit"])
    yield Progress(progress.fraction, "Reading the full scan", blocking=True)
    full, thin = read_mesh(scan), read_mesh(clean)
    if full.uv is None or thin.uv is None:
        return None
    found = yield from aside(partial(_compared, full, thin, surface.texels.shape), progress)
    normals, height = found.at(surface.texels.index)
    return normals, height * mm_per_unit


def _compared(full: TriangleMesh, thin: TriangleMesh, shape: tuple[int, int]) -> DroppedDetail:
    height, width = shape
    read = [read_surface(mesh, np.ones(len(mesh.faces), bool), height=height, width=width) for mesh in (welded(full), thin)]
    return dropped_detail(*(without(surface, surface.texels.shared) for surface in read))
