"""Reads relief as fine as the texture: a second pass over the surface in smaller patches, part by part.

The first pass (`recovery`) works in cells of 0.07 mm, which hold no wave shorter than 0.2 mm, and on a texture that was halved
to them. Where the full texture holds finer detail (`finest`), this pass reads it. Shading knows no size: slopes, tangential
irradiance and log brightness are the same on a piece and on one three times as large. So the piece is taken as enlarged until
the fine cells are as large as those the net was trained on, and everything else is as in the first pass.

What it adds is only what the first pass could not read: its slopes hold the waves shorter than about 0.45 mm, and replace those
of the first pass there (`FINER.crossing`). The light is that of the first pass. Nothing is believed here unless it follows that
light: noise, dust and the rest of a picture that was only enlarged are as strong where the light falls squarely (`following`),
and where that can't be known, as under an even sky, nothing is added. A painted piece gets none: the hues that tell paint from
shading are blurred over more than such a mark.

A large texture has more texels than memory holds at once, so that the surface is cut into parts of some `FINER.most_texels`.
"""

from __future__ import annotations

from collections.abc import Generator, Iterator
from functools import partial

import numpy as np

from ...arrays import Bools, Floats, Ints
from ...generators import passed_on
from ...mesh.triangles import unit
from ...rasters import bilinear, resized
from ...records import record
from ...srgb import luminance
from ..normal_maps import TangentFrames, encode, tangent_frames, tangent_space
from ..paint import Paint
from ..patches import PATCH, Cloud, Patches, lay_patches, wave_vectors
from ..speckle import closed, grown, masked_blur, speckles
from ..texels import Texels, extend, rasterize
from ..textured_surface import TexturedSurface
from .following import FOLLOWING, filtered, following
from .fusion import joined, patch_fields
from .inversion import Evidence, Signal, Spectrum, blind_spectrum, confidence_of, gather_signal, tangential_irradiance
from .recovery import RECOVERY, Recovery, cell_mm, mean_tangential


@record
class FinerConstants:
    """Numbers of the second pass."""

    most_texels: int = 2_500_000
    """Texels of a part, beside those of its neighbours that its patches reach: a part takes some 1.5 GB."""
    crossing: float = 1.2
    """Cells of the first pass: standard deviation of the Gaussian between the two passes. Each has half at 6.4 cells."""
    cells_a_wave: float = 0.21
    """Edge of a cell over the shortest wave that the texture holds: five cells a wave. With four, the bench's engraved piece is
    read to 0.16 mm instead of 0.13; with six, no finer."""
    most_patches: int = 20_000
    """Cells are coarser on a surface that would have more patches than this: the net takes 12 ms for each on one core."""
    gains: float = 0.7
    """Part of a cell of the first pass from which on smaller cells gain too little to be worth a second pass (a guess)."""
    largest_cells: float = 43.0
    """Cells, from which on waves fade out of the inversion: as for the net's training (3 mm in cells of 0.07)."""
    sites: int = 40
    """Places of the surface from which signal, noise and marks are estimated, to bound the time."""
    speck_fill_mm: float = 0.08
    """Standard deviation of the Gaussian that closes specks: a third of a speck of 0.1 to 0.3 mm."""
    strip: int = 1024
    """Rows that are worked on at a time, to bound memory."""
    beside: int = 64
    """Rows of a picture that are searched for specks at once, and those beside them that are looked at."""


FINER = FinerConstants()


@record
class Finer:
    """What the second pass found.

    normals: (h, w, 3) float16 tangent-space normal map, stored as 0 to 1, of both passes. finest_mm: the shortest wave that was
    read. kept: 0 to 1, what of the slopes was believed.
    """

    normals: Floats
    finest_mm: float
    kept: float


@record
class Base:
    """What the second pass starts from: the surface of the first pass in mm, what that recovered, and its normal map (h, w, 3),
    values 0 to 1. strength: of the relief in that map, where later steps do not scale it."""

    surface: TexturedSurface
    recovery: Recovery
    normals: Floats
    strength: float = 1.0

    @property
    def cell_mm(self) -> float:
        """Edge of the first pass's cells."""
        return cell_mm(self.surface)


@record
class _Work:
    """The second pass.

    shown, closed: (h, w) float16 log of the full texture's luminance, as photographed and with specks closed over. level: what
    that is over the light's at the median. cell_mm: edge of a fine cell. slope: (h', w', 3) what the first pass read of the
    waves that the second reads. frames: tangents of the surface.
    """

    base: Base
    shown: Floats
    closed: Floats
    level: float
    cell_mm: float
    slope: Floats
    frames: TangentFrames

    @property
    def enlarged(self) -> float:
        """How much larger than it is the piece is taken to be."""
        return RECOVERY.cell_mm / self.cell_mm

    @property
    def edge_mm(self) -> float:
        """Edge of a fine patch."""
        return PATCH.cells * self.cell_mm


@record
class _Part:
    """Some of the surface.

    texels: of the full texture. position: (n, 3) mm and normal: (n, 3) there. inner: (n,) those on which patches are laid.
    """

    texels: Texels
    position: Floats
    normal: Floats
    inner: Bools


@record
class _Trust:
    """Signal and noise of the whole texture, the shortest wave that was read, and what is believed of it, 0 to 1."""

    spectrum: Spectrum
    finest_mm: float
    kept: float


def read_finer(base: Base, bright: Floats, *, detail_mm: float, seed: int = 1) -> Generator[float, None, Finer | None]:
    """The normal map with the relief of the full texture in it, or None where none is believed; yields the fraction done.

    bright: (h, w) float16 log luminance of the full texture, larger than the base's. detail_mm: the shortest wave that it holds
    (`finest`).
    """
    texel_mm = base.surface.texel_mm * base.surface.texels.shape[0] / len(bright)
    cell = fine_cell_mm(texel_mm, detail_mm, area_mm2=len(base.surface) * base.surface.texel_mm**2)
    if cell > FINER.gains * base.cell_mm:
        return None
    work = _prepared(base, bright, cell)
    yield 0.1
    trust = yield from passed_on(_trust(work, seed), partial(_within, 0.1, 0.1))
    if trust.kept == 0.0:
        return None
    normals = _at_full_size(base.normals, (bright.shape[0], bright.shape[1]))
    parts = list(_parts(base.surface, bright.shape))
    for number, faces in enumerate(parts):
        start, length = 0.2 + 0.8 * number / len(parts), 0.8 / len(parts)
        part = _part(work, faces)
        if part is not None:
            slopes = yield from passed_on(_slopes(work, part, trust, seed), partial(_within, start, length))
            _enter(work, part, faces, trust.kept * slopes, normals)
    return Finer(normals, max(trust.finest_mm, detail_mm, cell / FINER.cells_a_wave), trust.kept)


def fine_cell_mm(texel_mm: float, detail_mm: float, *, area_mm2: float) -> float:
    """Edge of the second pass's cells: as fine as the texels and what they hold, and as the number of patches allows."""
    fewest = np.sqrt(area_mm2 / FINER.most_patches) / (PATCH.spacing * PATCH.cells)
    return max(RECOVERY.texels_a_cell * texel_mm, FINER.cells_a_wave * detail_mm, float(fewest))


def _within(start: float, length: float, share: float) -> float:
    """The fraction done of the whole when `share` of a part is done that begins at `start` and takes `length` of it."""
    return start + length * share


def _prepared(base: Base, bright: Floats, cell: float) -> _Work:
    surface, recovery = base.surface, base.recovery
    texel_mm = surface.texel_mm * surface.texels.shape[0] / len(bright)
    mask = surface.texels.mask()
    flux = surface.texels.interpolate(surface.faces, luminance(recovery.light[0].shading.flux))
    irradiance, _ = tangential_irradiance(flux, surface.normal)
    row, column = np.divmod(surface.texels.index, mask.shape[1])
    there = row * len(bright) // mask.shape[0], column * bright.shape[1] // mask.shape[1]
    level = float(np.median(bright[there].astype(np.float32) - np.log(irradiance)))
    slope = surface.texels.scatter(recovery.relief.slope)
    for axis in range(3):
        slope[..., axis] -= masked_blur(slope[..., axis], mask, FINER.crossing * base.cell_mm / surface.texel_mm)
    slope = extend(np.where(mask[..., None], slope, 0), mask, 2)
    frames = tangent_frames(surface.vertices, surface.faces, surface.uv, surface.vertex_normal)
    return _Work(base, bright, _closed_over(bright, mask, texel_mm), level, cell, slope, frames)


def _closed_over(bright: Floats, mask: Bools, texel_mm: float) -> Floats:
    """(h, w) float16 log luminance with specks of dust closed over, of that (h, w) of the full texture; strip by strip.

    mask: (h', w') texels of the halved texture that show the surface.
    """
    found = bright.copy()
    inside = ~grown(~mask)
    for first in range(0, len(bright), FINER.strip):
        low, high = max(first - FINER.beside, 0), min(first + FINER.strip + FINER.beside, len(bright))
        rows = np.arange(low, high) * len(mask) // len(bright)
        columns = np.arange(bright.shape[1]) * mask.shape[1] // bright.shape[1]
        here, shown = inside[np.ix_(rows, columns)], bright[low:high].astype(np.float32)
        if here.any():
            whole = closed(shown, here, speckles(shown, here, texel_mm), FINER.speck_fill_mm / texel_mm)
            found[first : first + FINER.strip] = whole[first - low : first - low + FINER.strip]
    return found


def _at_full_size(normals: Floats, shape: tuple[int, int]) -> Floats:
    """(h, w, 3) float16: a normal map enlarged to `shape` (h, w)."""
    found = np.zeros((*shape, 3), np.float16)
    for axis in range(3):
        found[..., axis] = resized(normals[..., axis], shape)
    return found


def _parts(surface: TexturedSurface, shape: tuple[int, ...]) -> Iterator[Ints]:
    """Rows of faces of compact parts of the surface, each with some `FINER.most_texels` texels of a texture of `shape`."""
    centre = surface.vertices[surface.faces].mean(axis=1)
    first, second = surface.uv[:, 1] - surface.uv[:, 0], surface.uv[:, 2] - surface.uv[:, 0]
    size = 0.5 * np.abs(first[:, 0] * second[:, 1] - first[:, 1] * second[:, 0]) * shape[0] * shape[1]
    waiting = [np.arange(len(centre))]
    while waiting:
        rows = waiting.pop()
        if len(rows) < 2 or size[rows].sum() <= FINER.most_texels:
            yield rows
            continue
        rows = rows[np.argsort(centre[rows, np.argmax(np.ptp(centre[rows], axis=0))], kind="stable")]
        middle = int(np.searchsorted(np.cumsum(size[rows]), 0.5 * size[rows].sum()))
        waiting += (
            [rows[middle:], rows[:middle]] if 0 < middle < len(rows) else [rows[: len(rows) // 2], rows[len(rows) // 2 :]]
        )


def _part(work: _Work, faces: Ints) -> _Part | None:
    """The part of some faces, with the surface round them that their patches reach; None where no texel shows them."""
    surface = work.base.surface
    corners = surface.vertices[surface.faces]
    low, high = corners[faces].min(axis=(0, 1)), corners[faces].max(axis=(0, 1))

    def near(margin: float) -> Bools:
        return ((corners.max(axis=1) > low - margin) & (corners.min(axis=1) < high + margin)).all(axis=1)

    return _read(work, near((PATCH.core + 0.71) * work.edge_mm), near(PATCH.core * work.edge_mm))


def _read(work: _Work, chosen: Bools, inner: Bools) -> _Part | None:
    """The texels of chosen faces (m,) that the first pass used too."""
    surface, shape = work.base.surface, work.shown.shape
    rows = np.flatnonzero(chosen)
    found = rasterize(surface.uv[rows], height=shape[0], width=shape[1])
    mask = surface.texels.mask()
    row, column = np.divmod(found.index, shape[1])
    keep = mask[row * mask.shape[0] // shape[0], column * mask.shape[1] // shape[1]] & ~found.shared
    if not keep.any():
        return None
    texels = Texels(found.shape, found.index[keep], rows[found.face[keep]], found.weight[keep], found.shared[keep])
    position = texels.interpolate(surface.faces, surface.vertices)
    normal = unit(texels.interpolate(surface.faces, surface.vertex_normal)).astype(np.float32)
    return _Part(texels, position, normal, inner[texels.face])


def _trust(work: _Work, seed: int) -> Generator[float, None, _Trust]:
    """What can be read and believed, from some places (`FINER.sites`) of the surface; all of it where that is small."""
    surface = work.base.surface
    rng = np.random.default_rng(seed)
    sites = surface.position[rng.choice(len(surface), min(FINER.sites, len(surface)), replace=False)]
    centre = surface.vertices[surface.faces].mean(axis=1)
    away = np.full(len(centre), np.inf, np.float32)
    for site in sites:
        np.minimum(away, np.square(centre - site).sum(axis=1), out=away)
    scale = len(work.shown) * work.shown.shape[1] / (surface.texels.shape[0] * surface.texels.shape[1])
    small = len(surface) * scale <= FINER.most_texels
    inner = (away < np.square(0.7 * work.edge_mm)) | small
    part = _read(work, (away < np.square(1.5 * work.edge_mm)) | small, inner)
    if part is None or not part.inner.any():
        return _Trust(Spectrum(np.zeros(2), np.ones(1), np.zeros(1)), float("inf"), 0.0)
    frame, signal, _ = yield from _signal(work, part, seed)
    spectrum = blind_spectrum(frame, signal)
    inverting = patch_fields(frame, signal, spectrum, low_mm=FINER.largest_cells * RECOVERY.cell_mm)
    fields = yield from passed_on(inverting, partial(_within, 0.4, 0.6))
    confidence = confidence_of(frame, signal, fields[:, 2])
    marks = following(frame, signal, fields[:, 2])
    believed = marks.kept[0] if any(marks.known[: FOLLOWING.fine]) else 0.0
    kept = min(believed, work.base.recovery.marks.kept[0]) * float(np.clip(confidence.share / RECOVERY.sure, 0.0, 1.0))
    finest = confidence.finest_mm / work.enlarged
    return _Trust(spectrum, finest, kept if np.isfinite(finest) else 0.0)


def _signal(work: _Work, part: _Part, seed: int) -> Generator[float, None, tuple[Patches, Signal, Cloud]]:
    """Patches on the enlarged part in the frame of the light, what the texture shows in them, and the part's texels."""
    lit, texels = work.base.recovery.light[0], part.texels
    flux = texels.interpolate(work.base.surface.faces, luminance(lit.shading.flux))
    irradiance, tangential = tangential_irradiance(flux, part.normal)
    smooth = np.log(irradiance) + work.level
    shown, whole = (picture.reshape(-1)[texels.index].astype(np.float32) - smooth for picture in (work.shown, work.closed))
    none = np.zeros(len(texels), np.float32)
    paint = Paint(none, np.zeros((len(texels), 2), np.float32), none)
    evidence = Evidence(
        np.clip(whole, *RECOVERY.clip),
        np.clip(shown, *RECOVERY.wide),
        paint,
        part.normal,
        irradiance,
        tangential,
        lit.light.deviation,
    )
    large = part.position * np.float32(work.enlarged)
    patches, cloud = lay_patches(large, part.normal, cell_mm=RECOVERY.cell_mm, seed=seed, middles=part.inner)
    frame = patches.led_by(mean_tangential(cloud, tangential, patches))
    signal = yield from passed_on(gather_signal(frame, cloud, evidence), partial(_within, 0.0, 0.4))
    return frame, signal, cloud


def _slopes(work: _Work, part: _Part, trust: _Trust, seed: int) -> Generator[float, None, Floats]:
    """(n, 3) slopes of the short waves in the part's texels."""
    frame, signal, cloud = yield from _signal(work, part, seed)
    low_mm = FINER.largest_cells * RECOVERY.cell_mm
    inverting = patch_fields(frame, signal, trust.spectrum, low_mm=low_mm)
    fields = yield from passed_on(inverting, partial(_within, 0.4, 0.5))
    sigma = FINER.crossing * work.base.cell_mm * work.enlarged
    wave = np.hypot(*wave_vectors(RECOVERY.cell_mm))
    fields = filtered(frame, fields, 1.0 - np.exp(-0.5 * np.square(sigma * wave)))
    weight = np.ones(len(frame), np.float32)
    joining = joined(frame, [frame], [fields], [weight], cloud, low_mm=low_mm)
    relief = yield from passed_on(joining, partial(_within, 0.9, 0.1))
    return relief.slope


def _enter(work: _Work, part: _Part, faces: Ints, slopes: Floats, normals: Floats) -> None:
    """Enter a part's slopes (n, 3) into the normal map (h, w, 3) in place of those of the first pass, on `faces` alone."""
    surface, shape = work.base.surface, work.shown.shape
    own = np.zeros(len(surface.faces), bool)
    own[faces] = True
    keep = own[part.texels.face]
    every = part.texels
    texels = Texels(every.shape, every.index[keep], every.face[keep], every.weight[keep], every.shared[keep])
    row, column = np.divmod(texels.index, shape[1])
    x = (column + 0.5) * work.slope.shape[1] / shape[1] - 0.5
    y = (row + 0.5) * work.slope.shape[0] / shape[0] - 0.5
    before = np.stack([bilinear(work.slope[..., axis], x, y) for axis in range(3)], axis=1)
    change = tangent_space(texels, work.frames, part.normal[keep], slopes[keep] - before, work.base.strength)
    flat = normals.reshape(-1, 3)
    stored = 2.0 * flat[texels.index].astype(np.float32) - 1.0
    stored[:, :2] += change[:, :2] / np.maximum(change[:, 2:], 0.05) * stored[:, 2:]
    flat[texels.index] = encode(unit(stored))
