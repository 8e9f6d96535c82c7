"""Which slopes explain what the light does not? Shading inverted on patches, weighed by its own signal to noise.

On a patch the log of texture over smooth shading is, to first order, r = -a . grad h + kappa |k| h: `a` is the fitted light's
pull along the surface (tangential irradiance vector over irradiance), the second term the little that "dark is deep" holds.
Where r does not follow (a . k)^2 it is noise; regressing each ring of frequencies on that gives noise and signal with no
strength to set by hand, and the Wiener filter follows.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .patches import CELLS, Cloud, Patches, filled, read_back, splat, wave_vectors, window

Floats = NDArray[np.floating]

OCCLUSION = 3.0
"""Kappa over the root mean square slope. A groove hides sky by about the square of its slope, so that the share of "dark is
deep" in the shading grows with the slope itself; the factor was measured on made-up pieces of known shape."""
STEEPEST = 1.5  # the pull of the light is capped here: beyond it the surface faces away
RINGS = 24


@dataclass(frozen=True)
class Spectrum:
    """Noise and slope power a ring of frequencies. wavelength_mm: (RINGS,). noise, signal: (RINGS,) power of r that is
    independent of, and proportional to, (a . k)^2 / |k|^2. patches: how many were counted.
    """

    edges: Floats
    noise: Floats
    signal: Floats
    patches: int

    def ratio(self, wave: Floats) -> Floats:
        """Noise over signal at wave numbers |k| (radians a mm), smooth in frequency."""
        centres = 0.5 * (self.edges[1:] + self.edges[:-1])
        ratio = np.clip(np.maximum(self.noise, 1e-12) / np.maximum(self.signal, 1e-12), 1e-3, 1e3)
        known = self.noise > 0
        if not known.any():
            return np.full(np.shape(wave), 1e3)
        smooth = _smoothed(np.log(np.where(known, ratio, 1e3)))
        return np.exp(np.interp(wave, centres, smooth))

    def finest_mm(self) -> float:
        """The finest wavelength at which signal still stands above half of the noise; inf where none does."""
        centres = 0.5 * (self.edges[1:] + self.edges[:-1])
        sound = np.flatnonzero((self.signal > 0.5 * self.noise) & (self.noise > 0))
        return float(2 * np.pi / centres[sound.max()]) if len(sound) else float("inf")


@dataclass(frozen=True)
class Relief:
    """What was recovered in the texels. slope: (n, 3) float32 gradient of height along the surface. height_mm: (n,)."""

    slope: Floats
    height_mm: Floats
    covered: NDArray[np.bool_]


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


def blind_spectrum(patches: Patches, signal: Signal) -> Spectrum:
    """Regress the power of well covered patches on (a . k)^2 / |k|^2, a ring at a time."""
    kx, ky = wave_vectors(patches.cell_mm)
    wave = np.hypot(kx, ky)
    edges = np.linspace(0, wave.max() / np.sqrt(2), RINGS + 1)
    ring = np.digitize(wave.ravel(), edges) - 1
    usable = (ring >= 0) & (ring < RINGS) & (wave.ravel() > 0)
    chosen = np.flatnonzero(signal.share > 0.6 * max(float(np.quantile(signal.share, 0.9)), 1e-6))
    chosen = chosen[:: max(1, len(chosen) // 800)]
    left, right = np.zeros((RINGS, 3)), np.zeros((RINGS, 2))
    for start in range(0, len(chosen), 64):
        rows = chosen[start : start + 64]
        power = np.abs(np.fft.rfft2(signal.grids[rows])).reshape(len(rows), -1) ** 2
        along = signal.pull[rows, 0][:, None, None] * kx + signal.pull[rows, 1][:, None, None] * ky
        square = (along**2 / np.maximum(wave**2, 1e-9)).reshape(len(rows), -1)
        for one, q in zip(power, square, strict=True):
            mean = np.bincount(ring[usable], one[usable], RINGS) / np.maximum(np.bincount(ring[usable], minlength=RINGS), 1)
            weight = usable / np.maximum(mean[ring.clip(0, RINGS - 1)], 1e-12)
            for column, part in enumerate((weight, weight * q, weight * q * q)):
                left[:, column] += np.bincount(ring[usable], part[usable], RINGS)
            for column, part in enumerate((weight * one, weight * one * q)):
                right[:, column] += np.bincount(ring[usable], part[usable], RINGS)
    noise, power = _solved(left, right)
    return Spectrum(edges, noise, power, len(chosen))


def _solved(left: Floats, right: Floats) -> tuple[Floats, Floats]:
    determinant = left[:, 0] * left[:, 2] - left[:, 1] ** 2
    safe = np.where(determinant > 1e-9 * np.maximum(left[:, 0] * left[:, 2], 1e-30), determinant, np.inf)
    noise = (right[:, 0] * left[:, 2] - right[:, 1] * left[:, 1]) / safe
    signal = (left[:, 0] * right[:, 1] - left[:, 1] * right[:, 0]) / safe
    mean = right[:, 0] / np.maximum(left[:, 0], 1e-30)
    noise = np.where(noise > 0.02 * mean, noise, 0.02 * mean)
    return noise, np.maximum(signal, 0)


def _smoothed(values: Floats, sigma: float = 0.7) -> Floats:
    kernel = np.exp(-0.5 * (np.arange(-3, 4) / sigma) ** 2)
    return np.convolve(np.pad(values, 3, mode="edge"), kernel / kernel.sum(), mode="valid")


def slope_rms(patches: Patches, spectrum: Spectrum) -> float:
    """Root mean square slope (one axis) of the relief that `spectrum` sees, from the power in its rings (Parseval)."""
    kx, ky = wave_vectors(patches.cell_mm)
    wave = np.hypot(kx, ky)
    double = np.where((np.arange(wave.shape[1]) == 0) | (np.arange(wave.shape[1]) == CELLS // 2), 1, 2)
    ring = np.digitize(wave, spectrum.edges) - 1
    usable = (ring >= 0) & (ring < RINGS) & (wave > 0)
    cells = np.bincount(ring[usable], np.broadcast_to(double, wave.shape)[usable], RINGS)
    sound = np.where(spectrum.signal > 0.2 * spectrum.noise, spectrum.signal, 0)
    return float(np.sqrt((sound * cells).sum() / CELLS**4 / (window() ** 2).mean() / 2))


def occlusion_gain(patches: Patches, spectrum: Spectrum) -> float:
    """Kappa for this relief."""
    return min(OCCLUSION * slope_rms(patches, spectrum), 0.3)


def invert(
    patches: Patches, cloud: Cloud, signals: list[Signal], ratios: list[Floats], *, low_mm: float, kappa: float
) -> Generator[float, None, Relief]:
    """The relief that best explains all `signals` together; `ratios` are noise over signal on the transform's grid.

    cloud: the texels that read the relief. low_mm: wavelengths above this fade out (the mesh itself knows them better).
    """
    kx, ky = wave_vectors(patches.cell_mm)
    wave = np.hypot(kx, ky)
    keep = 1 - np.exp(-0.5 * (wave * low_mm / (2 * np.pi) * 1.5) ** 4)
    total = [np.zeros(len(cloud.order), np.float32) for _ in range(5)]
    for first, last in patches.runs():
        above, below = 0, 0
        for signal, ratio in zip(signals, ratios, strict=True):
            pull = signal.pull[first:last, :, None, None]
            transfer = kappa * wave - 1j * (pull[:, 0] * kx + pull[:, 1] * ky)
            above = above + np.conj(transfer) * np.fft.rfft2(signal.grids[first:last]) / np.maximum(ratio, 1e-6)
            below = below + np.abs(transfer) ** 2 / np.maximum(ratio, 1e-6)
        height = (keep * above / np.maximum(below + wave**2, 1e-9)).astype(np.complex64)
        fields = np.stack([np.fft.irfft2(one * height, s=(CELLS, CELLS)) for one in (1j * kx, 1j * ky, 1.0)], axis=1)
        members = patches.members(cloud, first, last)
        rows, values, weight = read_back(members, fields.astype(np.float32))
        texel, patch = members.texel[rows], members.patch[rows]
        slope = values[:, :1] * patches.along[first:last][patch] + values[:, 1:2] * patches.across[first:last][patch]
        for column, part in enumerate((slope[:, 0], slope[:, 1], slope[:, 2], values[:, 2], np.ones_like(weight))):
            np.add.at(total[column], texel, part * weight)
        yield last / len(patches)
    weight = np.maximum(total[4], 1e-9)
    return Relief(
        np.stack([one / weight for one in total[:3]], axis=1), total[3] / weight, total[4] > 1e-6
    )
