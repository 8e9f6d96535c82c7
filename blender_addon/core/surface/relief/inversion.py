"""Which slopes explain what the fitted light does not? Shading inverted on patches, weighed by its own signal-to-noise ratio.

On a patch the log of texture over smooth irradiance is, to first order, r = alpha (-a . grad h + kappa |k| h) + noise. `a` is
the tangential irradiance: the part of the fitted light's flux that lies in the surface, over the irradiance. The second term is
"dark is deep": grooves see less of the room. alpha < 1 is the share of a steep relief's shading that is still proportional to
its slope (overhangs, cast shadows and blur take the rest); alpha and kappa were measured by regression on synthetic pieces of
known shape under known light.

Signal and noise are estimated from the data: how power follows (a . k)^2 / |k|^2 from patch to patch, and how far it stands
above what specks and grain leave. The Wiener filter made of these has no strength to set by hand.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence

import numpy as np

from ...arrays import Bools, Floats, Ints
from ...records import record
from ...threads import in_parallel
from ..paint import Paint
from ..patches import PATCH, Cloud, Members, Patches, filled, splat, wave_vectors, window


@record
class InversionConstants:
    """Numbers of the linear inversion, most by regression on synthetic pieces of known shape under known light."""

    kappa: float = 0.25
    """Share of "dark is deep" beside the tangential irradiance: 0.2 to 0.4 on feathers, tool marks and folds, under windows and
    lamps."""
    gain_mm: tuple[float, ...] = (0.15, 0.36, 0.48, 0.66, 0.9, 1.2, 1.7, 2.8)
    """Wavelengths of `gain`, mm."""
    gain: tuple[float, ...] = (0.15, 0.22, 0.30, 0.42, 0.50, 0.58, 0.65, 0.70)
    """alpha by wavelength, mean over the same pieces as `kappa` (0.1 mm of photo blur is in it)."""
    seen: float = 0.15
    """Weight of texels in a cell from which on it counts as known (a guess)."""
    speck_rest: float = 0.15
    """Share of the power removed by closing the specks that remains (measured on a piece without relief)."""
    coherent: float = 0.7
    """Share of the power above the noise that follows the linear model, over alpha (measured on the pieces of `kappa`)."""
    least_contrast: float = 0.12
    """Contrast of (a . k)^2 / |k|^2 from which it separates paint from shape (a guess)."""
    steepest: float = 1.5
    """Cap of the tangential irradiance: beyond it the surface faces away (a guess)."""
    rings: int = 24
    """Rings of frequencies: enough for a smooth curve, few enough for many samples each."""
    coarse: int = 12
    """Cells a side of the grid that holds the tangential irradiance, which changes slowly."""
    form: int = 24
    """Cells a side of the grid that holds the slope of the scan's own smooth surface."""
    shadiest: float = -3.0
    """Cap of the log of irradiance over its median (a guess)."""


INVERSION = InversionConstants()


@record
class Spectrum:
    """Power of r a ring of frequencies. edges: (r + 1,) radians a mm. signal: (r,) alpha^2 times the slopes' power (one
    axis), noise: (r,) the power that no slope explains.
    """

    edges: Floats
    noise: Floats
    signal: Floats

    @property
    def centres(self) -> Floats:
        """(r,) wave numbers in the middle of the rings."""
        return 0.5 * (self.edges[1:] + self.edges[:-1])

    def ratio(self, wave: Floats) -> Floats:
        """Noise over signal at wave numbers |k| (radians a mm), smooth in frequency."""
        ratio = np.clip(self.noise / np.maximum(self.signal, 1e-12), 1e-3, 1e4)
        return np.exp(np.interp(wave, self.centres, smoothed(np.log(ratio))))


def tangential_irradiance(flux: Floats, normal: Floats) -> tuple[Floats, Floats]:
    """(n,) irradiance and (n, 3) tangential irradiance `a` (over the irradiance), from flux (n, 3) and unit normals (n, 3)."""
    irradiance = np.einsum("ij,ij->i", flux, normal)
    floor = 0.03 * max(float(np.median(irradiance)), 1e-9)
    safe = np.maximum(irradiance, floor)
    tangential = (flux - irradiance[:, None] * normal) / safe[:, None]
    length = np.linalg.norm(tangential, axis=1, keepdims=True)
    return safe, (tangential * np.minimum(1, INVERSION.steepest / np.maximum(length, 1e-6))).astype(np.float32)


@record
class Signal:
    """One texture's evidence in p patches, the mean of each taken off. All arrays of numbers are float32.

    closed, raw: (p, cells, cells) residual with its specks closed over, and as photographed.
    paint: (p, 4, cells, cells) log level of the paint that was divided out, its hue (2) and its level with the tint of shaded
        places taken out (`Paint`); None on a plain piece.
    known: (p, cells, cells) which cells hold texels.
    tangential: (p, 2, c, c), c of `INVERSION.coarse`, tangential irradiance along x and y.
    form: (p, 4, f, f), f of `INVERSION.form`, slopes of the scan's own surface along x and y, log of its irradiance over the
        median, and the robust standard deviation of what the light's fit left over on the whole piece.
    """

    closed: Floats
    raw: Floats
    paint: Floats | None
    known: Bools
    tangential: Floats
    form: Floats

    def __len__(self) -> int:
        return len(self.closed)

    @property
    def share(self) -> Floats:
        """(p,) part of the cells that is known."""
        return self.known.mean(axis=(1, 2))

    @property
    def mean_tangential(self) -> Floats:
        """(p, 2) tangential irradiance in the middle of each patch."""
        taper = (
            window()
            .reshape(INVERSION.coarse, PATCH.cells // INVERSION.coarse, INVERSION.coarse, PATCH.cells // INVERSION.coarse)
            .mean(axis=(1, 3))
        )
        return np.einsum("pkij,ij->pk", self.tangential, taper / taper.sum())


@record
class Evidence:
    """What a texture shows at its n texels beyond the smooth light.

    closed, raw: (n,) log residual with its specks of dust closed over, and as photographed.
    paint: the paint whose level was divided out before.
    normal: (n, 3) unit. irradiance: (n,) and tangential: (n, 3) of the fitted light.
    deviation: robust standard deviation of what the light's fit left over.
    """

    closed: Floats
    raw: Floats
    paint: Paint
    normal: Floats
    irradiance: Floats
    tangential: Floats
    deviation: float


def gather_signal(patches: Patches, cloud: Cloud, evidence: Evidence) -> Generator[float, None, Signal]:
    """Splat the evidence of the texels into all patches; yields the fraction done."""
    count = len(patches)
    taper = window() / window().sum()
    paint = evidence.paint
    layers = np.stack([evidence.closed, evidence.raw - evidence.closed, paint.level, *paint.hue.T, paint.untinted])
    layers = layers if np.any(paint.level) else layers[:2]
    grids = np.zeros((len(layers), count, PATCH.cells, PATCH.cells), np.float32)
    known = np.zeros((count, PATCH.cells, PATCH.cells), bool)
    tangentials = np.zeros((count, 2, INVERSION.coarse, INVERSION.coarse), np.float32)
    forms = np.full((count, 4, INVERSION.form, INVERSION.form), evidence.deviation, np.float32)
    shade = np.maximum(np.log(evidence.irradiance / np.median(evidence.irradiance)), INVERSION.shadiest).astype(np.float32)

    def run(ends: tuple[int, int]) -> int:
        first, last = ends
        members = patches.members(cloud, first, last)
        means, weight = splat(members, layers)
        for place in (0, *range(2, len(layers))):
            whole = filled(means[place], weight)
            grids[place, first:last] = whole - (whole * taper).sum(axis=(1, 2), keepdims=True)
        grids[1, first:last] = grids[0, first:last] + means[1]
        known[first:last] = weight > INVERSION.seen
        axes = [part[first:last][members.patch] for part in (patches.along, patches.across, patches.normal)]
        along_surface, turns = evidence.tangential[members.texel], evidence.normal[members.texel]
        x, y, z = (np.einsum("ij,ij->i", turns, axis) for axis in axes)
        tangentials[first:last] = _coarse(
            members, INVERSION.coarse, [np.einsum("ij,ij->i", along_surface, axis) for axis in axes[:2]]
        )
        forms[first:last, :3] = _coarse(
            members, INVERSION.form, [-x / np.maximum(z, 0.2), -y / np.maximum(z, 0.2), shade[members.texel]]
        )
        return last

    for last in in_parallel(run, patches.runs()):
        yield last / count
    shown = grids[2:].swapaxes(0, 1) if len(layers) > 2 else None
    return Signal(grids[0], grids[1], shown, known, tangentials, forms)


def _coarse(members: Members, cells: int, values: Sequence[Floats]) -> Floats:
    """(p, v, cells, cells) means of members' values (k,) in coarse cells, holes filled."""
    step, count = PATCH.cells // cells, members.last - members.first
    key = members.patch * (cells * cells) + (members.y.astype(np.int32) // step) * cells + members.x.astype(np.int32) // step
    size, shape = count * cells * cells, (count, cells, cells)
    number = np.bincount(key, minlength=size).reshape(shape).astype(np.float32)
    totals = [np.bincount(key, column, size).reshape(shape).astype(np.float32) for column in values]
    return np.stack([filled(total / np.maximum(number, 1), number) for total in totals], axis=1)


def blind_spectrum(patches: Patches, signal: Signal) -> Spectrum:
    """Signal and noise of a texture on well covered patches."""
    rings = _rings(patches.cell_mm)
    rows = well_covered(signal)
    power, follows, contrast = _regressed(patches, signal, rows, rings)
    removed = np.maximum(_power(signal.raw, rows, rings) - _power(signal.closed, rows, rings), 0)
    grain = np.median(power[-5:])
    floor = grain + INVERSION.speck_rest * removed
    above = np.maximum(power - floor, 0)
    level = contrast + INVERSION.kappa**2
    loose = INVERSION.coherent * gain(0.5 * (rings.edges[1:] + rings.edges[:-1])) * above / level
    band = (rings.edges[1:] > 2 * np.pi / 2.0) & (rings.edges[:-1] < 2 * np.pi / 0.5)
    steady = 1.0  # how much follows the tangential irradiance, as shape must and paint does not; an even light can't show it
    if contrast > INVERSION.least_contrast:
        steady = float(np.clip(follows[band].sum() / max(loose[band].sum(), 1e-12) / 0.4, 0, 1))
    strength = np.maximum(steady * loose, np.minimum(follows, above / level))
    return Spectrum(rings.edges, np.maximum(power - strength * level, 0.3 * power) + 1e-9, strength)


def well_covered(signal: Signal, most: int = 600) -> Ints:
    """Rows of at most `most` patches that are covered well enough to measure power in."""
    rows = np.flatnonzero(signal.share > 0.6 * max(float(np.quantile(signal.share, 0.9)), 1e-6))
    return rows[:: max(1, len(rows) // most)]


def _power(grids: Floats, rows: Ints, rings: _Rings) -> Floats:
    """(r,) mean power of some of the grids (p, cells, cells)."""
    total, taper = np.zeros(INVERSION.rings), window()
    for start in range(0, len(rows), 64):
        shown = np.fft.rfft2(grids[rows[start : start + 64]] * taper)
        power = (np.abs(shown) ** 2).sum(axis=0).ravel()
        total += np.bincount(rings.of[rings.usable], power[rings.usable], INVERSION.rings)
    return total / rings.count / max(len(rows), 1)


@record
class Confidence:
    """How far to believe what was read from a texture.

    share: 0 to 1, the part of the residual (in standard deviations) that was read as shading.
    finest_mm: the finest wavelength at which at least a quarter of it was; inf where there is none.
    """

    share: float
    finest_mm: float


def confidence_of(patches: Patches, signal: Signal, shade: Floats) -> Confidence:
    """The confidence in log shading (p, cells, cells) that was read from the signal.

    A least-squares estimate shrinks with its uncertainty, so that its power beside the signal's shows how sure it is.
    """
    rings, rows = _rings(patches.cell_mm), well_covered(signal)
    shown, read = _power(signal.closed, rows, rings), _power(shade, rows, rings)
    total = np.sqrt(np.sum(read * rings.count) / max(float(np.sum(shown * rings.count)), 1e-12))
    sound = np.sqrt(read / np.maximum(shown, 1e-12)) > 0.25
    centres = 0.5 * (rings.edges[1:] + rings.edges[:-1])
    start = int(np.argmax(sound))
    if not sound[start] or centres[start] > 2 * np.pi / 0.6:
        return Confidence(float(total), float("inf"))
    end = start + int(np.argmin(np.append(sound[start:], False)))
    return Confidence(float(total), float(2 * np.pi / centres[end - 1]))


@record
class _Rings:
    edges: Floats
    of: Ints
    usable: Bools
    count: Floats


def _rings(cell_mm: float) -> _Rings:
    kx, ky = wave_vectors(cell_mm)
    wave = np.hypot(kx, ky)
    edges = np.linspace(0, wave.max() / np.sqrt(2), INVERSION.rings + 1)
    of = np.digitize(wave.ravel(), edges) - 1
    usable = (of >= 0) & (of < INVERSION.rings) & (wave.ravel() > 0)
    return _Rings(edges, of, usable, np.maximum(np.bincount(of[usable], minlength=INVERSION.rings), 1))


def _regressed(patches: Patches, signal: Signal, rows: Ints, rings: _Rings) -> tuple[Floats, Floats, float]:
    """(r,) mean power, (r,) power that is proportional to q = (a . k)^2 / |k|^2, and the mean of q.

    Each patch counts relative to its own mean power, so that patches with much power do not outweigh the rest.
    """
    kx, ky = wave_vectors(patches.cell_mm)
    taper, means = window(), signal.mean_tangential
    square = np.maximum(kx**2 + ky**2, 1e-9)
    mean, left, right = np.zeros(INVERSION.rings), np.zeros((INVERSION.rings, 3)), np.zeros((INVERSION.rings, 2))
    contrast, of = 0.0, rings.of[rings.usable]
    for start in range(0, len(rows), 64):
        part = rows[start : start + 64]
        power = np.abs(np.fft.rfft2(signal.closed[part] * taper)).reshape(len(part), -1) ** 2
        along = means[part, 0][:, None, None] * kx + means[part, 1][:, None, None] * ky
        quota = (along**2 / square).reshape(len(part), -1)
        for shown, q in zip(power[:, rings.usable], quota[:, rings.usable], strict=True):
            level = np.bincount(of, shown, INVERSION.rings) / rings.count
            mean += level
            contrast += float(q.mean())
            weight = 1 / np.maximum(level[of], 1e-12)
            for column, values in enumerate((weight, weight * q, weight * q * q)):
                left[:, column] += np.bincount(of, values, INVERSION.rings)
            for column, values in enumerate((weight * shown, weight * shown * q)):
                right[:, column] += np.bincount(of, values, INVERSION.rings)
    count = max(len(rows), 1)
    determinant = left[:, 0] * left[:, 2] - left[:, 1] ** 2
    safe = np.where(determinant > 1e-9 * np.maximum(left[:, 0] * left[:, 2], 1e-30), determinant, np.inf)
    follows = (left[:, 0] * right[:, 1] - left[:, 1] * right[:, 0]) / safe
    return mean / count, np.maximum(follows, 0), contrast / count


def smoothed(values: Floats, sigma: float = 0.7) -> Floats:
    """A curve over rings, smoothed by a Gaussian of `sigma` rings."""
    kernel = np.exp(-0.5 * (np.arange(-3, 4) / sigma) ** 2)
    return np.convolve(np.pad(values, 3, mode="edge"), kernel / kernel.sum(), mode="valid")


def gain(wave: Floats) -> Floats:
    """alpha at wave numbers |k| in radians a mm."""
    return np.interp(np.log(2 * np.pi / np.maximum(wave, 1e-6)), np.log(INVERSION.gain_mm), INVERSION.gain).astype(np.float32)


def linear_fields(
    signal: Signal, rows: slice, ratio: Floats, *, cell_mm: float, low_mm: float, kappa: float = INVERSION.kappa
) -> Floats:
    """(k, 3, cells, cells) float32: slopes along x and y that best explain the signal in some rows, and the part explained.

    rows: k patches.
    ratio: noise over signal on the grid of the transform.
    cell_mm: edge of a cell.
    low_mm: longer wavelengths fade out, since the mesh holds them better.
    kappa: share of "dark is deep".
    """
    kx, ky = wave_vectors(cell_mm)
    wave = np.hypot(kx, ky)
    keep = lasting(wave, low_mm)
    tangential = signal.mean_tangential[rows, :, None, None]
    transfer = kappa * wave - 1j * (tangential[:, 0] * kx + tangential[:, 1] * ky)
    shown = np.fft.rfft2(signal.closed[rows] * window())
    height = keep * np.conj(transfer) * shown / np.maximum(np.abs(transfer) ** 2 + ratio * wave**2, 1e-9)
    explained = np.fft.irfft2(transfer * height, s=(PATCH.cells, PATCH.cells)).astype(np.float32)
    slopes = slopes_of((height / np.maximum(gain(wave), 0.05)).astype(np.complex64), cell_mm)
    return np.concatenate([slopes, explained[:, None]], axis=1)


def slopes_of(height: Floats, cell_mm: float) -> Floats:
    """(k, 2, cells, cells) float32 slopes of a height's transform (k, cells, half)."""
    kx, ky = wave_vectors(cell_mm)
    return np.stack([np.fft.irfft2(1j * wave * height, s=(PATCH.cells, PATCH.cells)) for wave in (kx, ky)], axis=1).astype(
        np.float32
    )


def lasting(wave: Floats, low_mm: float) -> Floats:
    """Share 0 to 1 of a wave number that is kept: those with wavelengths above `low_mm` fade out."""
    return 1 - np.exp(-0.5 * (wave * low_mm / (2 * np.pi) * 1.5) ** 4)
