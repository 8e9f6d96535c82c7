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

from ...arrays import Floats, Ints
from ...mesh.triangles import edges
from ...records import record
from ..textured_surface import TexturedSurface
from ..vertex_means import Ring, over_patches
from .fusion import Relief


@record
class LumpsConstants:
    """Numbers of calming lumps; all are guesses, tried on the bench's smooth piece with four kinds of noise."""

    scales_mm: tuple[float, float] = (1.0, 2.0)
    """Standard deviations of the smoothings beside which the mesh's own fine relief is seen, mm: it is judged in two bands,
    since the wider one also holds sharp bends of the form."""
    least_edges: float = 1.5
    """The first of them in edges of the mesh, where that is more."""
    window_mm: float = 4.0
    """Edge of a patch, some three of which across are one window, mm."""
    steady: float = 0.3
    """Weight of the whole surface's coefficients in each window, beside that of a window that tells as much as the mean one."""
    shortfall: float = 0.25
    """By how much the coefficients are raised: what is read of a lump is too shallow, as for `FUSION.shortfall`."""
    doubt: float = 0.5
    """By how much the rest of what was read is lowered where all of it was lumps: what else is read there is no more than the
    noise's part."""
    least: float = 0.05
    """Least share of the mesh's fine relief for which anything is done."""


LUMPS = LumpsConstants()


@record
class FineForm:
    """A mesh's own fine relief at its vertices, in two bands. tilts: (v, 2, 3) part of the normal. heights_mm: (v, 2)."""

    tilts: Floats
    heights_mm: Floats


def calmed(surface: TexturedSurface, relief: Relief, tells: Floats) -> tuple[Relief, float]:
    """The relief with what is left of the mesh's lumps taken off the mesh, and the share of its fine relief that was lumps, 0
    to 1 (mean square). tells: (n,) 0 to 1, how far a texel's shading tells slopes: little where the light falls squarely."""
    if not len(surface.faces) or not relief.covered.any():
        return relief, 0.0
    pairs, _ = edges(surface.faces)
    spacing = float(np.median(np.linalg.norm(surface.vertices[pairs[:, 0]] - surface.vertices[pairs[:, 1]], axis=1)))
    if spacing <= 0.0:
        return relief, 0.0
    form = fine_form(surface, Ring.of(pairs, len(surface.vertices)), spacing)

    def place(values: Floats) -> Floats:
        return surface.texels.interpolate(surface.faces, values)

    tilts = place(form.tilts)
    tilts -= np.einsum("nbi,ni->nb", tilts, surface.normal)[..., None] * surface.normal[:, None]
    own, shared, power = _products(surface, pairs, (tilts, -relief.slope), tells * relief.covered, spacing)
    found = _coefficients(own, shared)
    lumps = np.clip((1.0 + LUMPS.shortfall) * found, -1.0, 0.0)
    whole = float(np.trace(own.mean(axis=0)))
    share = float(np.einsum("va,vab,vb->v", lumps, own, lumps).mean() / whole) if whole > 0.0 else 0.0
    if share < LUMPS.least:
        return relief, 0.0
    share = min(share, 1.0)  # bands of the same lumps may go against each other
    explained = np.einsum("va,vab,vb->v", found, own, found) / np.maximum(power, 1e-12)
    rest = place(1.0 - LUMPS.doubt * np.clip(explained, 0.0, 1.0)) * relief.covered
    known, taken = (place(values) * relief.covered[:, None] for values in (found, lumps))
    heights = place(form.heights_mm)
    slope = rest[:, None] * (relief.slope + np.einsum("nb,nbi->ni", known, tilts)) - np.einsum("nb,nbi->ni", taken, tilts)
    depth = rest * (relief.height_mm - (known * heights).sum(axis=1)) + (taken * heights).sum(axis=1)
    return replace(relief, slope=slope.astype(np.float32), height_mm=depth.astype(np.float32)), share


def _products(
    surface: TexturedSurface, pairs: Ints, fields: tuple[Floats, Floats], weight: Floats, spacing: float
) -> tuple[Floats, Floats, Floats]:
    """Means in a window round each vertex: (v, 2, 2) of the bands' tilts with each other, (v, 2) with what was read, (v,) of
    the square of that. fields: tilts (n, 2, 3) and what was read (n, 3). weight: (n,) of each texel."""
    tilts, read = fields
    bands = ((0, 0), (0, 1), (1, 1))
    columns = [np.einsum("ni,ni->n", tilts[:, a], tilts[:, b]) for a, b in bands]
    columns += [np.einsum("ni,ni->n", tilts[:, band], read) for band in (0, 1)]
    columns.append(np.square(read).sum(axis=1))
    means, amount = surface.texels.gather(surface.faces, np.stack(columns, axis=1) * weight[:, None], len(surface.vertices))
    over = max(LUMPS.window_mm, 4.0 * spacing)
    found = [over_patches(mean * amount, surface.vertices, surface.vertex_normal, pairs, over) for mean in means.T]
    own = np.stack([np.stack(found[0:2], axis=1), np.stack(found[1:3], axis=1)], axis=1)
    return own, np.stack(found[3:5], axis=1), found[5]


def _coefficients(own: Floats, shared: Floats) -> Floats:
    """(v, 2) coefficients of what was read on the bands of the mesh's own fine relief, -1 to 0, steadied by the whole's.

    own, shared: as `_products` gives them.
    """
    mean = own.mean(axis=0)
    ground = np.eye(2) * (1e-6 * np.trace(mean) + 1e-20)
    whole = np.minimum(np.linalg.solve(mean + ground, shared.mean(axis=0)), 0.0)
    steady = LUMPS.steady * mean + ground
    found = np.linalg.solve(own + steady, (shared + steady @ whole)[..., None])[..., 0]
    return np.clip(found, -1.0, 0.0)


def fine_form(surface: TexturedSurface, ring: Ring, spacing: float) -> FineForm:
    """What of a mesh's form is finer than `LUMPS.scales_mm`. ring: its vertices' neighbours. spacing: typical edge, mm."""
    fine = np.column_stack([surface.vertex_normal, surface.vertices]).astype(np.float32)
    finer = []
    first = max(LUMPS.scales_mm[0], LUMPS.least_edges * spacing)
    for scale in (first, first * LUMPS.scales_mm[1] / LUMPS.scales_mm[0]):
        part = fine
        for _ in range(2):  # twice, so that the bends of the form, wider than lumps, stay out
            part = part - ring.spread(part, 2.0 * (scale / spacing) ** 2)
        finer.append(part)
    bands = np.stack([finer[0], finer[1] - finer[0]], axis=1)
    return FineForm(bands[..., :3], np.einsum("vbi,vi->vb", bands[..., 3:], surface.vertex_normal))
