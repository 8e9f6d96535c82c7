"""Calms the lumps of a scan's mesh that its texture contradicts.

What a texture shows beside its mesh is what the mesh lacks. Where a mesh has rounded the true relief, that goes along with the
mesh's own fine relief; where the mesh has lumps that the piece has not, it goes against them. Within windows of the surface
what was read is regressed on the mesh's own fine relief. A coefficient of -1 says that all of it is lumps, 0 that the texture
knows nothing of them. Only negative ones are used, and then on all of the mesh's fine relief there, also where the light is too
square or too dim to show a lump by itself: a scanner's lumps have no side. A texture that is paint, or that shows no light, has
nothing in common with the mesh's lumps, and nothing is changed.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from ...arrays import Floats
from ...mesh.triangles import edges, unit
from ...records import record
from ..textured_surface import TexturedSurface
from ..vertex_means import Ring, over_patches
from .fusion import Relief


@record
class LumpsConstants:
    """Numbers of calming lumps; all are guesses, tried on the bench's smooth piece with four kinds of noise."""

    scale_mm: float = 1.4
    """Standard deviation of the smoothing beside which the mesh's own fine relief is seen, mm."""
    least_edges: float = 1.5
    """The same in edges of the mesh, where that is more."""
    window_mm: float = 4.0
    """Edge of a patch, some three of which across are one window, mm."""
    steady: float = 0.3
    """Weight of the whole surface's coefficient in each window, in windows with the mean amount of fine relief."""
    shortfall: float = 0.25
    """By how much the coefficient is raised: what is read of a lump is too shallow, as for `FUSION.shortfall`."""
    doubt: float = 0.5
    """By how much the rest of what was read is lowered where all of it was lumps: what else is read there is no more than the
    noise's part."""
    least: float = 0.05
    """Least share of the mesh's fine relief for which anything is done."""


LUMPS = LumpsConstants()


@record
class FineForm:
    """A mesh's own fine relief at its vertices. tilt: (v, 3) normal less that of the smoothed mesh. height_mm: (v,)."""

    tilt: Floats
    height_mm: Floats


def calmed(surface: TexturedSurface, relief: Relief) -> tuple[Relief, float]:
    """The relief with what is left of the mesh's lumps taken off the mesh, and the share of its fine relief that was lumps, 0
    to 1 (mean square)."""
    if not len(surface.faces) or not relief.covered.any():
        return relief, 0.0
    pairs, _ = edges(surface.faces)
    spacing = float(np.median(np.linalg.norm(surface.vertices[pairs[:, 0]] - surface.vertices[pairs[:, 1]], axis=1)))
    if spacing <= 0.0:
        return relief, 0.0
    form = fine_form(surface, Ring.of(pairs, len(surface.vertices)), spacing)

    def place(values: Floats) -> Floats:
        return surface.texels.interpolate(surface.faces, values)

    tilt = place(form.tilt)
    tilt -= (tilt * surface.normal).sum(axis=1, keepdims=True) * surface.normal
    read = -relief.slope
    products = np.stack([(read * tilt).sum(axis=1), np.square(tilt).sum(axis=1), np.square(read).sum(axis=1)], axis=1)
    means, weight = surface.texels.gather(surface.faces, products * relief.covered[:, None], len(surface.vertices))
    over = max(LUMPS.window_mm, 4.0 * spacing)
    shared, own, all_ = (
        over_patches(column * weight, surface.vertices, surface.vertex_normal, pairs, over) for column in means.T
    )
    if own.mean() <= 0.0:
        return relief, 0.0
    whole = min(float(shared.mean() / own.mean()), 0.0)
    steady = LUMPS.steady * own.mean()
    found = np.clip((shared + steady * whole) / (own + steady), -1.0, 0.0)
    lumps = np.clip((1.0 + LUMPS.shortfall) * found, -1.0, 0.0)
    share = float((np.square(lumps) * own).mean() / own.mean())
    if share < LUMPS.least:
        return relief, 0.0
    doubted = 1.0 - LUMPS.doubt * np.clip(np.square(found) * own / np.maximum(all_, 1e-12), 0.0, 1.0)
    known, taken, rest = (place(values) * relief.covered for values in (found, lumps, doubted))
    height = place(form.height_mm)
    slope = rest[:, None] * (relief.slope + known[:, None] * tilt) - taken[:, None] * tilt
    depth = rest * (relief.height_mm - known * height) + taken * height
    return replace(relief, slope=slope.astype(np.float32), height_mm=depth.astype(np.float32)), share


def fine_form(surface: TexturedSurface, ring: Ring, spacing: float) -> FineForm:
    """What of a mesh's form is finer than `LUMPS.scale_mm`. ring: its vertices' neighbours. spacing: typical edge, mm."""
    rounds = 2.0 * max(LUMPS.scale_mm / spacing, LUMPS.least_edges) ** 2
    smooth = ring.spread(np.column_stack([surface.vertex_normal, surface.vertices]), rounds)
    height = np.einsum("ij,ij->i", surface.vertices - smooth[:, 3:], surface.vertex_normal)
    height -= ring.spread(height[:, None], rounds)[:, 0]  # a round form lies above its smoothed one everywhere
    return FineForm((surface.vertex_normal - unit(smooth[:, :3])).astype(np.float32), height.astype(np.float32))
