"""Joins what each texture shows to one relief: slopes refined in the frame of each light, joined, read back at the texels."""

from __future__ import annotations

from collections.abc import Generator, Sequence

import numpy as np

from ...arrays import Bools, Floats, Ints
from ...records import record
from ...threads import in_parallel
from ..patches import PATCH, Cloud, Patches, read_back, splat, totals, wave_vectors, window
from .inversion import INVERSION, Signal, Spectrum, lasting, linear_fields
from .refiner import refiner


@record
class FusionConstants:
    """Numbers of joining what the net and the linear inversion read."""

    coarsest_mm: float = 0.12
    """Cells above which the net is not used, mm: it was trained on cells of 0.07. Coarser ones show neither dust nor strokes as
    it knows them."""
    across: float = 0.6
    """Weight of a texture's slopes across its light beside those along it, where several textures are joined: the net reads
    those too, from how marks continue. Two textures of the bench's owl cut the median error by 46.4, 47.6, 47.6 and 47.3 % at
    0.1, 0.3, 0.6 and 1, four by 49.6, 51.9, 52.5 and 52.0 % (before `beside_first`)."""
    unsure: float = 0.012
    """Slope (0.7 degrees) that noise alone can be read as on a flat sheet: patches with no more are damped (a guess)."""
    steep: float = 0.04
    """Root mean square of the net's slopes well above which they are raised by `shortfall`. Chosen on the pieces named there: a
    guess."""
    shortfall: float = 0.25
    """By how much they are raised: the net reads steep relief too shallow. The factor that brings slopes nearest to the truth
    (regression of true on read slopes, wavelengths of 0.3 to 3 mm) is 1.2 on the bench's owl and sharp piece, 1.25 on the
    demo's owl, and 1.1 to 1.3 on two sculptures with measured normals, whose photos come from a tracer that shares nothing with
    the training. It is 0.95 on the bench's smooth piece, whose slopes stay below `steep`. Chosen on these pieces: a guess."""


FUSION = FusionConstants()


@record
class Relief:
    """What was recovered at the n texels of a surface, float32.

    slope: (n, 3) gradient of the height along the surface. height_mm: (n,).
    shade: (n,) log of the shading that the relief causes in the first texture, beside that of the smooth light.
    covered: (n,) bool, whether a patch holds the texel.
    """

    slope: Floats
    height_mm: Floats
    shade: Floats
    covered: Bools


def refined(patches: Patches) -> bool:
    """Whether the net is used on cells of this size."""
    return patches.cell_mm < FUSION.coarsest_mm


def patch_fields(patches: Patches, signal: Signal, spectrum: Spectrum, *, low_mm: float) -> Generator[float, None, Floats]:
    """(p, 3, cells, cells) float16 slopes along x and y and log shading; yields the fraction done.

    patches: in the frame of the texture's light, x along its tangential irradiance. signal: the texture's, in these patches.
    spectrum: of signal and noise. low_mm: longer wavelengths fade out, since the mesh holds them better.
    """
    ratio = spectrum.ratio(np.hypot(*wave_vectors(patches.cell_mm)))
    found = np.zeros((len(patches), 3, PATCH.cells, PATCH.cells), np.float16)
    net = refiner() if refined(patches) else None

    def run(ends: tuple[int, int]) -> int:
        rows = slice(*ends)
        fields = linear_fields(signal, rows, ratio, cell_mm=patches.cell_mm, low_mm=low_mm)
        if net is not None:
            shown = zip(planes_of(signal, rows, fields), signal.form[rows], strict=True)
            fields = np.stack([net.fields(planes, form) for planes, form in shown])
        energy = np.square(fields[:, :2]).sum(axis=1).mean(axis=(1, 2))[:, None, None, None]
        if net is not None:
            fields[:, :2] *= 1.0 + FUSION.shortfall * energy / (energy + FUSION.steep**2)
        found[rows] = fields * (energy / (energy + FUSION.unsure**2))
        return ends[1]

    for last in in_parallel(run, patches.runs()):
        yield last / len(patches)
    return found


def planes_of(signal: Signal, rows: slice, fields: Floats) -> Floats:
    """(k, 12, cells, cells) float32: the net's input for some patches; without paint the last four planes are left out."""
    step = PATCH.cells // INVERSION.coarse
    place = np.clip((np.arange(PATCH.cells) + 0.5) / step - 0.5, 0, INVERSION.coarse - 1)
    low = np.minimum(place.astype(int), INVERSION.coarse - 2)
    blend = np.zeros((PATCH.cells, INVERSION.coarse), np.float32)
    blend[np.arange(PATCH.cells), low] = 1 - (place - low)
    blend[np.arange(PATCH.cells), low + 1] += place - low
    tangential = np.einsum("ya,pkab,xb->pkyx", blend, signal.tangential[rows], blend, optimize=True)
    own = np.stack([signal.closed[rows], signal.raw[rows], signal.known[rows]], axis=1)
    paint = [] if signal.paint is None else [signal.paint[rows]]
    return np.concatenate([own, tangential, fields, *paint], axis=1).astype(np.float32)


def beside_first(
    frame: Patches, fields: Floats, first_scan: tuple[Cloud, Floats], own_scan: tuple[Cloud, Floats]
) -> Generator[float, None, None]:
    """Turns slopes beside a further scan's mesh into slopes beside the first scan's, in place; yields the fraction done.

    Each mesh has lumps of its own, and a texture shows what the true surface adds to its own mesh. Without this, smooth pieces
    are given the other scan's lumps.

    frame: the patches in the frame of the further texture's light.
    fields: (p, 2 or more, cells, cells) of that texture; the first two are changed.
    first_scan, own_scan: the texels in boxes and their unit normals (n, 3), of the first and of the further scan.
    """
    for first, last in frame.runs():
        shown = [splat(frame.members(cloud, first, last), normal.T) for cloud, normal in (first_scan, own_scan)]
        both = np.minimum(*(weight for _, weight in shown)) > INVERSION.seen
        differ = (shown[0][0] - shown[1][0]) * both
        for place, axis in enumerate((frame.along, frame.across)):
            fields[first:last, place] += np.einsum("cpyx,pc->pyx", differ, axis[first:last], optimize=True)
        yield last / len(frame)


def joined(
    patches: Patches,
    frames: Sequence[Patches],
    fields_of: Sequence[Floats],
    weights: Sequence[Floats],
    cloud: Cloud,
    *,
    low_mm: float,
) -> Generator[float, None, Relief]:
    """One relief from the fields of all textures; yields the fraction done.

    patches: in the frame of the first texture's light; frames: the same patches in the frame of each.
    fields_of: of each texture, in its own frame (`patch_fields`).
    weights: (p,) of each texture in each patch beside the others: 0 where it does not show the patch.
    cloud: the texels of the first texture, at which the relief is read.
    low_mm: longer wavelengths fade out, since the mesh holds them better.
    """
    kx, ky = wave_vectors(patches.cell_mm)
    keep = lasting(np.hypot(kx, ky), low_mm)
    total = np.zeros((6, len(cloud.order)), np.float32)

    def run(ends: tuple[int, int]) -> tuple[int, int, Floats]:
        """The run's last patch, the first sorted texel that it reaches, and sums (6, k) for the texels from there on."""
        first, last = ends
        rows = slice(first, last)
        fields = fields_of[0][rows, :2].astype(np.float32)
        if len(fields_of) > 1:
            fields = _together(patches, frames, fields_of, weights, rows)
        shown = np.fft.rfft2(fields * window())
        height = keep * (-1j * kx * shown[:, 0] - 1j * ky * shown[:, 1]) / np.maximum(kx**2 + ky**2, 1e-9)
        depth = np.fft.irfft2(height, s=(PATCH.cells, PATCH.cells)).astype(np.float32)
        members = patches.members(cloud, first, last)
        used, values, weight = read_back(members, np.concatenate([fields, depth[:, None], fields_of[0][rows, 2:]], axis=1))
        patch = members.patch[used]
        slope = values[:, :1] * patches.along[rows][patch] + values[:, 1:2] * patches.across[rows][patch]
        return last, *totals(members, used, np.concatenate([slope, values[:, 2:]], axis=1), weight)

    for last, low, sums in in_parallel(run, patches.runs()):
        total[:, low : low + sums.shape[1]] += sums
        yield last / len(patches)
    total[:, cloud.order] = total.copy()
    weight = np.maximum(total[5], 1e-9)
    return Relief((total[:3] / weight).T.copy(), total[3] / weight, total[4] / weight, total[5] > 1e-6)


def _together(
    patches: Patches, frames: Sequence[Patches], fields_of: Sequence[Floats], weights: Sequence[Floats], rows: slice
) -> Floats:
    """(k, 2, cells, cells) the slopes that come nearest to those of all textures, cell by cell (weighted least squares).

    A texture speaks fully for the slope along its light and by `FUSION.across` for the one across it.
    """
    count = rows.stop - rows.start
    matrix = np.tile(np.eye(2) * 1e-9, (count, 1, 1))
    total = np.zeros((count, 2, PATCH.cells, PATCH.cells), np.float32)
    for frame, own, weight in zip(frames, fields_of, weights, strict=True):
        cosine = np.einsum("ij,ij->i", frame.along[rows], patches.along[rows])
        sine = np.einsum("ij,ij->i", frame.along[rows], patches.across[rows])
        turned = _turned(own[rows, :2].astype(np.float32), cosine, sine)
        for axis, way in enumerate(((cosine, sine), (-sine, cosine))):
            along = np.stack(way, axis=1)
            counted = along * (weight[rows] * (1.0 if axis == 0 else FUSION.across))[:, None]
            matrix += counted[:, :, None] * along[:, None, :]
            total += counted.astype(np.float32)[:, :, None, None] * turned[:, axis, None]
    return np.einsum("kab,kbyx->kayx", np.linalg.inv(matrix).astype(np.float32), total, optimize=True)


def _turned(fields: Floats, cosine: Floats, sine: Floats) -> Floats:
    """Fields (k, 2, cells, cells) of a frame whose x axis lies at (cosine, sine), sampled on the cells of the common one."""
    place = np.arange(PATCH.cells, dtype=float) - PATCH.cells / 2
    x, y = place[None, None, :], place[None, :, None]
    column = np.clip(cosine[:, None, None] * x + sine[:, None, None] * y + PATCH.cells / 2, 0, PATCH.cells - 1.001)
    row = np.clip(-sine[:, None, None] * x + cosine[:, None, None] * y + PATCH.cells / 2, 0, PATCH.cells - 1.001)
    left, low = column.astype(np.int32), row.astype(np.int32)
    right, up = (column - left)[:, None], (row - low)[:, None]
    base = low * PATCH.cells + left
    lower = _picked(fields, base) * (1 - right) + _picked(fields, base + 1) * right
    upper = _picked(fields, base + PATCH.cells) * (1 - right) + _picked(fields, base + PATCH.cells + 1) * right
    whole: Floats = lower * (1 - up)
    whole += upper * up
    return whole


def _picked(fields: Floats, place: Ints) -> Floats:
    """Fields (k, 2, cells, cells) at flat cell indices (k, cells, cells)."""
    flat = fields.reshape(len(fields), 2, -1)
    return np.take_along_axis(flat, place.reshape(len(fields), 1, -1), axis=2).reshape(fields.shape)
