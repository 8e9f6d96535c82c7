"""From textured surfaces to relief: the light fitted, the specks set aside, what is left inverted. The whole method in order.

1. Fit the light of each texture on its own surface (`light`, `visibility`).
2. r = log(texture) - log(smooth shading); specks of dust closed over (`speckle`).
3. Lay patches over the surface that is to get the relief; splat each texture's r and the pull of its light (`patches`).
4. Signal and noise from the data itself, then a Wiener inversion of all textures together (`inversion`).
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from ..srgb import luminance
from .inversion import (
    Relief,
    Signal,
    Spectrum,
    blind_spectrum,
    gather_signal,
    invert,
    occlusion_gain,
    pull_of_light,
)
from .lamplight import Lit, fit_surface_light
from .patches import lay_patches, sort_into_boxes, wave_vectors
from .speckle import closed, speckles
from .surface import Surface

Floats = NDArray[np.floating]
Ints = NDArray[np.integer]
Steps = Generator[tuple[float, str], None, "Recovery"]

CLIP = (-1.0, 0.6)  # log brightness against the smooth shading outside of this is not fine relief
CELL_MM = 0.07
WEIGHT = 0.5  # of the blind noise: the pull varies within a patch, which the regression mistakes for noise


@dataclass(frozen=True)
class Photographed:
    """A surface and its texture: colours (n, 3) linear at the texels. occluders: (vertices mm, faces) that stand by, or None."""

    surface: Surface
    colours: Floats
    occluders: tuple[Floats, Ints] | None = None


@dataclass(frozen=True)
class Recovery:
    """What came of it. relief: of the first surface's texels. light: one `Lit` a texture. spectrum: one a texture.

    trusted_mm: finest wavelength with more signal than noise, inf when there is none. trust: 0 to 1.
    """

    relief: Relief
    light: list[Lit]
    spectra: list[Spectrum]
    trusted_mm: float
    trust: float

    @property
    def strength(self) -> float:
        """How strong to show it by default: full where shading is told from paint, less where it may be paint."""
        return 1.0

    @property
    def found(self) -> bool:
        """Whether there is anything to show."""
        return bool(np.isfinite(self.trusted_mm)) and self.trust > 0.05


def recover(photographed: Sequence[Photographed], *, largest_mm: float, seed: int = 1) -> Steps:
    """The relief of the first surface from all textures; yields (fraction, words)."""
    main = photographed[0].surface
    cell = max(CELL_MM, 0.85 * main.texel_mm)
    patches, cloud = lay_patches(main.position, main.normal, cell_mm=cell, seed=seed)
    kx, ky = wave_vectors(cell)
    wave = np.hypot(kx, ky)
    lights: list[Lit] = []
    signals: list[Signal] = []
    spectra: list[Spectrum] = []
    share = 0.75 / len(photographed)
    for place, one in enumerate(photographed):
        yield place * share, "Fitting the light"
        lit = fit_surface_light(one.surface, one.colours, occluders=one.occluders, seed=seed)
        flux = one.surface.texels.interpolate(one.surface.faces, luminance(lit.shading.flux))
        irradiance, pull = pull_of_light(flux, one.surface.normal)
        residual = _without_specks(one.surface, luminance(one.colours), irradiance)
        own = cloud if place == 0 else sort_into_boxes(one.surface.position, one.surface.normal, cloud.box_mm)
        work = gather_signal(patches, own, residual, pull)
        signal = yield from _told(work, place * share, share, "Reading the surface")
        lights.append(lit)
        signals.append(signal)
        spectra.append(blind_spectrum(patches, signal))
    kappa = [occlusion_gain(patches, one) for one in spectra]
    ratios = [WEIGHT * one.ratio(wave) for one in spectra]
    work = invert(patches, cloud, signals, ratios, low_mm=largest_mm, kappa=float(np.median(kappa)))
    relief = yield from _told(work, 0.75, 0.25, "Inverting the shading")
    return Recovery(relief, lights, spectra, min(one.finest_mm() for one in spectra), _trust(signals, spectra, wave))


def _told(work: Generator[float, None, object], start: float, share: float, words: str):
    while True:
        try:
            fraction = next(work)
        except StopIteration as end:
            return end.value
        yield start + share * fraction, words


def _without_specks(surface: Surface, bright: Floats, irradiance: Floats) -> Floats:
    floor = 0.02 * float(np.median(bright)) + 1e-5
    residual = np.log(np.maximum(bright, floor)) - np.log(irradiance)
    residual = np.clip(residual - np.median(residual), *CLIP).astype(np.float32)
    raster, mask = surface.texels.scatter(residual), surface.texels.mask()
    specks = speckles(raster, mask, surface.texel_mm)
    return closed(raster, mask, specks).reshape(-1)[surface.texels.index]


def _trust(signals: Sequence[Signal], spectra: Sequence[Spectrum], wave: Floats) -> float:
    """Share of the relief's slope variance that the filter lets through where the light pulls as it does on average."""
    best = 0.0
    for signal, spectrum in zip(signals, spectra, strict=True):
        pull = float(np.median((signal.pull**2).sum(axis=1)))
        gains = 0.5 * pull / (0.5 * pull + spectrum.noise / np.maximum(spectrum.signal, 1e-12))
        power = spectrum.signal * 0.5 * (spectrum.edges[1:] + spectrum.edges[:-1])
        best = max(best, float((gains * power).sum() / max(power.sum(), 1e-12)))
    return best
