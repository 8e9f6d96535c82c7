"""Which slopes explain what the light does not? Shading inverted on patches, weighed by its own signal to noise.

On a patch the log of texture over smooth shading is, to first order, r = alpha (-a . grad h + kappa |k| h) + noise. `a` is the
fitted light's pull along the surface (tangential irradiance vector over irradiance). The second term is "dark is deep": grooves
see less of the room. alpha < 1 tells how much of a steep relief's shading is still in proportion to its slope (overhangs, cast
shadows, blur); alpha and kappa were measured by regression on made-up pieces of known shape under known light.

Signal and noise come from the data: how power follows (a . k)^2 / |k|^2 from patch to patch, and how far it stands above what
specks and grain leave. The Wiener filter of that has no strength to set by hand.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from .patches import CELLS, Cloud, Patches, filled, read_back, splat, wave_vectors, window

Floats = NDArray[Any]
Ints = NDArray[Any]

KAPPA = 0.25
"""Share of "dark is deep" against the light's pull: 0.2 to 0.4 on feathers, tool marks and folds under windows and lamps."""
GAIN_MM = (0.15, 0.36, 0.48, 0.66, 0.9, 1.2, 1.7, 2.8)
GAIN = (0.15, 0.22, 0.30, 0.42, 0.50, 0.58, 0.65, 0.70)
"""alpha by wavelength, mean over the same pieces (0.1 mm of photo blur is in it)."""
SPECK_REST = 0.15  # of the power that closing the specks removed is still there (measured on a piece without relief)
COHERENT = 0.7  # times alpha, of the power above the noise follows the linear model (measured on the same pieces)
TELLING = 0.12  # mean (a . k)^2 / |k|^2 from which on paint can be told from shape by it
STEEPEST = 1.5  # the pull of the light is capped here: beyond it the surface faces away
RINGS = 24


@dataclass(frozen=True)
class Spectrum:
    """Power of r a ring of frequencies. edges: (RINGS + 1,) radians a mm. signal: (RINGS,) alpha^2 times the slopes' power (one
    axis), noise: (RINGS,) the power that no slope explains. steady: how much of what stands above the noise follows the light's
    pull as shape must and paint does not, 1 where the light is too even to tell.
    """

    edges: Floats
    noise: Floats
    signal: Floats
    steady: float
    patches: int

    @property
    def centres(self) -> Floats:
        """(RINGS,) wave numbers in the middle of the rings."""
        return 0.5 * (self.edges[1:] + self.edges[:-1])

    def ratio(self, wave: Floats) -> Floats:
        """Noise over signal at wave numbers |k| (radians a mm), smooth in frequency."""
        ratio = np.clip(self.noise / np.maximum(self.signal, 1e-12), 1e-3, 1e4)
        return np.exp(np.interp(wave, self.centres, _smoothed(np.log(ratio))))

    def finest_mm(self) -> float:
        """The finest wavelength up to which signal stands above a third of the noise; inf where it never does."""
        sound = self.signal > 0.33 * self.noise
        start = int(np.argmax(sound))
        if not sound[start] or self.centres[start] > 2 * np.pi / 0.6:
            return float("inf")
        end = start + int(np.argmin(np.append(sound[start:], False)))
        return float(2 * np.pi / self.centres[end - 1])


@dataclass(frozen=True)
class Relief:
    """What was recovered in the texels. slope: (n, 3) float32 gradient of height along the surface. height_mm: (n,)."""

    slope: Floats
    height_mm: Floats
    covered: NDArray[Any]


def pull_of_light(flux: Floats, normal: Floats) -> tuple[Floats, Floats]:
    """(n,) irradiance and (n, 3) pull `a` of the light along the surface, from flux (n, 3) and unit normals (n, 3)."""
    irradiance = np.einsum("ij,ij->i", flux, normal)
    floor = 0.03 * max(float(np.median(irradiance)), 1e-9)
    safe = np.maximum(irradiance, floor)
    pull = (flux - irradiance[:, None] * normal) / safe[:, None]
    length = np.linalg.norm(pull, axis=1, keepdims=True)
    return safe, (pull * np.minimum(1, STEEPEST / np.maximum(length, 1e-6))).astype(np.float32)


@dataclass(frozen=True)
class Signal:
    """One texture's evidence in the patches: grids (p, CELLS, CELLS) float32 of r, pull (p, 2) float32, share (p,) covered."""

    grids: Floats
    pull: Floats
    share: Floats


def gather_signal(patches: Patches, cloud: Cloud, residual: Floats, pull: Floats) -> Generator[float, None, Signal]:
    """Splat `residual` (n,) and `pull` (n, 3) of the texels into all patches; yields the fraction done."""
    taper = window()
    count = len(patches)
    grids = np.zeros((count, CELLS, CELLS), np.float32)
    pulls, share = np.zeros((count, 2), np.float32), np.zeros(count, np.float32)
    for first, last in patches.runs():
        members = patches.members(cloud, first, last)
        means, weight = splat(members, residual)
        inside = weight > 0.15
        share[first:last] = inside.mean(axis=(1, 2))
        whole = filled(means, weight)
        whole -= (whole * taper).sum(axis=(1, 2), keepdims=True) / taper.sum()
        grids[first:last] = whole * taper
        total = np.maximum(np.bincount(members.patch, members.weight, last - first), 1e-9)
        for column, axes in enumerate((patches.along, patches.across)):
            part = np.einsum("ij,ij->i", pull[members.texel], axes[first:last][members.patch])
            pulls[first:last, column] = np.bincount(members.patch, part * members.weight, last - first) / total
        yield last / count
    return Signal(grids, pulls, share)


def blind_spectrum(patches: Patches, signal: Signal, removed: Floats | None = None) -> Spectrum:
    """Signal and noise of a texture on well covered patches. removed: (RINGS,) power that closing the specks took out."""
    rings = _rings(patches.cell_mm)
    rows = well_covered(signal)
    power, follows, pull = _regressed(patches, signal, rows, rings)
    grain = np.median(power[-5:])
    floor = grain + SPECK_REST * (removed if removed is not None else 0)
    above = np.maximum(power - floor, 0)
    level = pull + KAPPA**2
    loose = COHERENT * gain(0.5 * (rings.edges[1:] + rings.edges[:-1])) * above / level
    band = (rings.edges[1:] > 2 * np.pi / 2.0) & (rings.edges[:-1] < 2 * np.pi / 0.5)
    steady = 1.0
    if pull > TELLING:
        steady = float(np.clip(follows[band].sum() / max(loose[band].sum(), 1e-12) / 0.4, 0, 1))
    strength = np.maximum(steady * loose, np.minimum(follows, above / level))
    return Spectrum(rings.edges, np.maximum(power - strength * level, 0.3 * power) + 1e-9, strength, steady, len(rows))


def well_covered(signal: Signal, most: int = 600) -> Ints:
    """Rows of patches that are full enough to tell power from."""
    rows = np.flatnonzero(signal.share > 0.6 * max(float(np.quantile(signal.share, 0.9)), 1e-6))
    return rows[:: max(1, len(rows) // most)]


def ring_power(patches: Patches, grids: Floats) -> Floats:
    """(RINGS,) mean power of grids (p, CELLS, CELLS)."""
    rings = _rings(patches.cell_mm)
    total = np.zeros(RINGS)
    for start in range(0, len(grids), 64):
        power = (np.abs(np.fft.rfft2(grids[start : start + 64])) ** 2).sum(axis=0).ravel()
        total += np.bincount(rings.of[rings.usable], power[rings.usable], RINGS)
    return total / rings.count / max(len(grids), 1)


@dataclass(frozen=True)
class _Rings:
    edges: Floats
    of: Ints
    usable: NDArray[Any]
    count: Floats


def _rings(cell_mm: float) -> _Rings:
    kx, ky = wave_vectors(cell_mm)
    wave = np.hypot(kx, ky)
    edges = np.linspace(0, wave.max() / np.sqrt(2), RINGS + 1)
    of = np.digitize(wave.ravel(), edges) - 1
    usable = (of >= 0) & (of < RINGS) & (wave.ravel() > 0)
    return _Rings(edges, of, usable, np.maximum(np.bincount(of[usable], minlength=RINGS), 1))


def _regressed(patches: Patches, signal: Signal, rows: Ints, rings: _Rings) -> tuple[Floats, Floats, float]:
    """(RINGS,) mean power, (RINGS,) power that goes with q = (a . k)^2 / |k|^2, and the mean of q.

    Each patch counts relative to its own mean power, so that busy patches do not speak for all.
    """
    kx, ky = wave_vectors(patches.cell_mm)
    square = np.maximum(kx**2 + ky**2, 1e-9)
    mean, left, right = np.zeros(RINGS), np.zeros((RINGS, 3)), np.zeros((RINGS, 2))
    pull, of = 0.0, rings.of[rings.usable]
    for start in range(0, len(rows), 64):
        part = rows[start : start + 64]
        power = np.abs(np.fft.rfft2(signal.grids[part])).reshape(len(part), -1) ** 2
        along = signal.pull[part, 0][:, None, None] * kx + signal.pull[part, 1][:, None, None] * ky
        quota = (along**2 / square).reshape(len(part), -1)
        for one, q in zip(power[:, rings.usable], quota[:, rings.usable], strict=True):
            level = np.bincount(of, one, RINGS) / rings.count
            mean += level
            pull += float(q.mean())
            weight = 1 / np.maximum(level[of], 1e-12)
            for column, values in enumerate((weight, weight * q, weight * q * q)):
                left[:, column] += np.bincount(of, values, RINGS)
            for column, values in enumerate((weight * one, weight * one * q)):
                right[:, column] += np.bincount(of, values, RINGS)
    count = max(len(rows), 1)
    determinant = left[:, 0] * left[:, 2] - left[:, 1] ** 2
    safe = np.where(determinant > 1e-9 * np.maximum(left[:, 0] * left[:, 2], 1e-30), determinant, np.inf)
    follows = (left[:, 0] * right[:, 1] - left[:, 1] * right[:, 0]) / safe
    return mean / count, np.maximum(follows, 0), pull / count


def _smoothed(values: Floats, sigma: float = 0.7) -> Floats:
    kernel = np.exp(-0.5 * (np.arange(-3, 4) / sigma) ** 2)
    return np.convolve(np.pad(values, 3, mode="edge"), kernel / kernel.sum(), mode="valid")


def gain(wave: Floats) -> Floats:
    """alpha at wave numbers |k| in radians a mm."""
    return np.interp(np.log(2 * np.pi / np.maximum(wave, 1e-6)), np.log(GAIN_MM), GAIN).astype(np.float32)


def invert(
    patches: Patches, cloud: Cloud, signals: list[Signal], ratios: list[Floats], *, low_mm: float, kappa: float = KAPPA
) -> Generator[float, None, Relief]:
    """The relief that best explains all `signals` together; `ratios` are noise over signal on the transform's grid.

    cloud: the texels that read the relief. low_mm: wavelengths above this fade out (the mesh itself knows them better).
    """
    kx, ky = wave_vectors(patches.cell_mm)
    wave = np.hypot(kx, ky)
    alpha = np.maximum(gain(wave), 0.05)
    keep = 1 - np.exp(-0.5 * (wave * low_mm / (2 * np.pi) * 1.5) ** 4)
    total = [np.zeros(len(cloud.order), np.float32) for _ in range(5)]
    for first, last in patches.runs():
        above, below = 0, 0
        for signal, ratio in zip(signals, ratios, strict=True):
            pull = signal.pull[first:last, :, None, None]
            transfer = kappa * wave - 1j * (pull[:, 0] * kx + pull[:, 1] * ky)
            above = above + np.conj(transfer) * np.fft.rfft2(signal.grids[first:last]) / np.maximum(ratio, 1e-6)
            below = below + np.abs(transfer) ** 2 / np.maximum(ratio, 1e-6)
        height = (keep / alpha * above / np.maximum(below + wave**2, 1e-9)).astype(np.complex64)
        fields = np.stack([np.fft.irfft2(one * height, s=(CELLS, CELLS)) for one in (1j * kx, 1j * ky, 1.0)], axis=1)
        members = patches.members(cloud, first, last)
        rows, values, weight = read_back(members, fields.astype(np.float32))
        texel, patch = members.texel[rows], members.patch[rows]
        slope = values[:, :1] * patches.along[first:last][patch] + values[:, 1:2] * patches.across[first:last][patch]
        for column, part in enumerate((slope[:, 0], slope[:, 1], slope[:, 2], values[:, 2], np.ones_like(weight))):
            np.add.at(total[column], texel, part * weight)
        yield last / len(patches)
    weight = np.maximum(total[4], 1e-9)
    return Relief(np.stack([one / weight for one in total[:3]], axis=1), total[3] / weight, total[4] > 1e-6)
