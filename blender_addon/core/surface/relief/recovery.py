"""Recovers relief from textured surfaces: fits the light, sets specks of dust aside, inverts the residual shading.

The whole method in order:

1. Fit the light of each texture on its own surface (`light.lamplight`). A texture that shows no evidence of a light
   (`light.evidence`) is left alone.
2. Residual r = log(texture) - log(smooth irradiance) - log(paint, as far as its colour identifies it), with specks of dust
   closed over (`speckle`).
3. Lay patches over the surface that gets the relief. Splat each texture's residual and its tangential irradiance into them
   (`patches`).
4. Estimate signal and noise from the data and invert each texture, as a Wiener filter does, in the frame of its light
   (`inversion`).
5. A small net corrects what is not linear and separates paint from shading (`refiner`). Bands of wavelengths whose power does
   not follow the light, as brush marks of the body's own hue, are weakened (`following`). The patches are brought to one level
   of shading (`levelling`); the slopes of all textures are joined and read back with the shading they cause (`fusion`). The
   share of the texture that was read as shading is the confidence in the result (`inversion.confidence_of`).
6. Lumps of the mesh that what was read speaks against are calmed (`lumps`).
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import replace
from typing import Any

import numpy as np

from ...arrays import Floats, Ints
from ...generators import Outcome, passed_on
from ...records import record
from ...srgb import luminance
from ..light.lamplight import Lit, fit_surface_light
from ..paint import paint_of
from ..patches import PATCH, Cloud, Patches, lay_patches, sort_into_boxes
from ..speckle import closed, speckles
from ..textured_surface import TexturedSurface
from .following import ALL_RELIEF, Marks, following, weakened
from .fusion import Relief, beside_first, joined, patch_fields, refined
from .inversion import (
    INVERSION,
    Confidence,
    Evidence,
    Signal,
    blind_spectrum,
    confidence_of,
    gather_signal,
    tangential_irradiance,
)
from .levelling import levels
from .lumps import calmed

Steps = Generator[tuple[float, str], None, "Recovery"]


@record
class RecoveryConstants:
    """Numbers of the first pass."""

    clip: tuple[float, float] = (-1.0, 0.6)
    """Range of log brightness relative to the smooth shading in which the linear model holds (a guess)."""
    wide: tuple[float, float] = (-2.2, 1.0)
    """Range in which it may be fine relief, which the net is given (a guess)."""
    cell_mm: float = 0.07
    """Edge of a patch's cell, mm: the net was trained on it."""
    widest_mm: float = 0.115
    """A surface larger than `PATCH.large_mm2` is worked on in coarser cells, up to this: time stays in bounds, and on the
    bench's owl cells of 0.1 mm still cut 30 % where those of 0.07 cut 36."""
    texels_a_cell: float = 0.85
    """Cells are no finer than this part of a texel. At 0.75 the demo's owl gains half a percent, but a sheet of coarse texels
    loses the grooves that it shows: the net would be used on texels that are blurred more than those it was trained on."""
    faint_tangential: float = 0.1
    """Tangential irradiance below which shading shows depth alone, not slope (a guess)."""
    coarsest_detail_mm: float = 2.0
    """Wavelength from which the mesh itself holds relief better than shading shows it, mm (a guess)."""
    samples_a_patch: int = 200
    """Texels of a patch that are compared when patches are brought to one level, to bound the time."""
    sure: float = 0.4
    """Trust from which on relief is shown in full: 0.48 on a dusted piece with next to no relief, 0.54 to 1 on worked ones;
    0.10 to 0.39 on grained wood, mottles and spots without a hue. Set between them on the bench's pieces."""


RECOVERY = RecoveryConstants()


READING = "Reading the surface"


@record
class Photographed:
    """A surface and its texture: colours (n, 3) linear at the texels.

    occluders: (vertices mm, faces) of what stood by, or None. shared: raster index (k,) and colours (k, 3) of the texels that
    several places of the surface show, which are none of its own; None where there are none.
    """

    surface: TexturedSurface
    colours: Floats
    occluders: tuple[Floats, Ints] | None = None
    shared: tuple[Ints, Floats] | None = None


@record
class Recovery:
    """The recovered relief and how far to believe it.

    relief: at the texels of the first surface.
    light: one `Lit` a texture.
    trusted_mm: the finest wavelength that was read as shading; inf when there is none.
    shaded: 0 to 1, how far the textures can be shading rather than paint (`shading_share`).
    trust: 0 to 1, the share of a texture that was read as shading (`Confidence.share`) times `shaded`.
    marks: what of the relief's bands is kept, where marks do not follow the light as shading does.
    lumps: 0 to 1, the share of the mesh's own fine relief that was calmed as its lumps.
    """

    relief: Relief
    light: list[Lit]
    trusted_mm: float
    shaded: float
    trust: float
    marks: Marks = ALL_RELIEF
    lumps: float = 0.0

    @property
    def lit(self) -> float:
        """0 to 1: how far any texture is to be read as a photo of a lit, matt surface (`LightEvidence.trust`)."""
        return max(lit.evidence.trust for lit in self.light)

    @property
    def strength(self) -> float:
        """0 to 1, the relief's default strength: full where shading was separated from paint, less where it may be paint."""
        return float(np.clip(self.trust / RECOVERY.sure, 0.0, 1.0))

    @property
    def found(self) -> bool:
        """Whether there is anything to show: the mesh itself holds coarser details than `coarsest_detail_mm` better."""
        return self.trusted_mm < RECOVERY.coarsest_detail_mm and self.trust > 0.05


def recover(
    photographed: Sequence[Photographed], *, largest_mm: float, seed: int = 1, as_photos: bool = False,
    marks: Marks | None = None, calm_lumps: bool = True,
) -> Steps:  # fmt: skip
    """The relief of the first surface from all textures that hold a light; yields (fraction, words).

    photographed: the surface that gets the relief first.
    largest_mm: longer wavelengths fade out, since the mesh holds them better.
    seed: of the samples that the light is fitted with.
    as_photos: take all textures as photos of a lit surface, whatever the evidence says.
    marks: what is kept of each band; None: by the evidence of each texture.
    calm_lumps: whether lumps of the mesh that the textures contradict are calmed.
    """
    main = photographed[0].surface
    lights: list[Lit] = []
    for place, photo in enumerate(photographed):
        yield 0.2 * place / len(photographed), "Fitting the light"
        lights.append(fit_surface_light(photo.surface, photo.colours, occluders=photo.occluders, seed=seed))
    trusts = [1.0 if as_photos else lit.evidence.trust for lit in lights]
    lit_places = [place for place, trust in enumerate(trusts) if trust > 0]
    if not lit_places:
        return _nothing(main, lights)
    patches, cloud = lay_patches(main.position, main.normal, cell_mm=cell_mm(main), seed=seed)
    share = 0.65 / len(lit_places)
    readings: list[_Reading] = []
    for count, place in enumerate(lit_places):
        photo, own = photographed[place], cloud
        if place:
            own = sort_into_boxes(photo.surface.position, photo.surface.normal, cloud.box_mm)
        reading = yield from _portion(
            _read(photo, lights[place], trusts[place], patches, own, largest_mm, marks), 0.2 + count * share, share
        )
        if place:
            yield from _portion(
                beside_first(reading.frame, reading.fields, (cloud, main.normal), (own, photo.surface.normal)),
                0.2 + (count + 1) * share, 0.0, "Joining the patches",
            )  # fmt: skip
        readings.append(reading)
    if lit_places[0] == 0:  # the shading that is kept is that of the first texture
        thin = slice(None, None, max(1, len(main) // (RECOVERY.samples_a_patch * len(patches))))
        some = sort_into_boxes(main.position[thin], main.normal[thin], cloud.box_mm)
        fields = readings[0].fields
        fields[:, 2] += levels(readings[0].frame, some, fields[:, 2])[:, None, None]
    weights = [reading.share * slope_precision(reading.signal) for reading in readings]
    frames, fields_of = [reading.frame for reading in readings], [reading.fields for reading in readings]
    last = joined(frames[0], frames, fields_of, weights, cloud, low_mm=largest_mm)
    relief = yield from _portion(last, 0.85, 0.15, "Joining the patches")
    if lit_places[0] != 0:
        relief = replace(relief, shade=np.zeros_like(relief.shade))
    lumps = 0.0
    if calm_lumps:
        relief, lumps = calmed(main, relief, slope_visibility(photographed[0], lights[0]))
    # a texture that shows paint, or hardly any of this surface, does not speak against those that show it well
    trust = max(reading.share * reading.confidence.share for reading in readings)
    finest = min(reading.confidence.finest_mm for reading in readings)
    surest = max(readings, key=lambda reading: min(reading.marks.kept))
    return Recovery(relief, lights, finest, max(reading.share for reading in readings), min(trust, 1.0), surest.marks, lumps)


@record
class _Reading:
    """What was read in one texture. share: 0 to 1, how far it can be shading. marks: what of its bands was kept."""

    frame: Patches
    signal: Signal
    fields: Floats
    confidence: Confidence
    share: float
    marks: Marks


def _read(
    photo: Photographed, lit: Lit, trust: float, patches: Patches, own: Cloud, largest_mm: float, marks: Marks | None
) -> Generator[tuple[float, str], None, _Reading]:
    """Inverts one texture in the frame of its own light; yields (fraction, words).

    trust: 0 to 1, in its light. own: its texels, sorted into boxes. marks: what is kept of each band, None: by the evidence.
    """
    evidence = evidence_of(photo, lit)
    share = shading_share(evidence.raw, 0.0 if refined(patches) else lit.light.deviation) * trust
    frame = patches.led_by(mean_tangential(own, evidence.tangential, patches))
    signal = yield from _portion(gather_signal(frame, own, evidence), 0.0, 0.4, READING)
    spectrum = blind_spectrum(frame, signal)
    inverting = patch_fields(frame, signal, spectrum, low_mm=largest_mm)
    fields = yield from _portion(inverting, 0.4, 0.6, "Inverting the shading")
    confidence = confidence_of(frame, signal, fields[:, 2])
    marks = following(frame, signal, fields[:, 2]) if marks is None else marks
    return _Reading(frame, signal, weakened(frame, fields, marks), confidence, share, marks)


def _nothing(surface: TexturedSurface, lights: list[Lit]) -> Recovery:
    """No relief, since no texture holds a light."""
    count = len(surface)
    none = np.zeros(count, np.float32)
    relief = Relief(np.zeros((count, 3), np.float32), none, none, np.ones(count, bool))
    return Recovery(relief, lights, float("inf"), 0.0, 0.0)


def _portion(
    work: Generator[Any, None, Outcome], start: float, share: float, words: str | None = None
) -> Generator[tuple[float, str], None, Outcome]:
    """Runs `work` as the part of a longer one that begins at fraction `start` and takes `share` of it; returns its result.

    It yields (fraction, words), or fractions alone where `words` are given for it.
    """

    def shown(update: Any) -> tuple[float, str]:
        fraction, said = update if words is None else (update, words)
        return start + share * fraction, said

    return passed_on(work, shown)


def cell_mm(surface: TexturedSurface) -> float:
    """Edge of the patches' cells: fine enough for a texel, on large surfaces no finer than time allows."""
    area = len(surface) * surface.texel_mm**2
    slack = float(np.clip(RECOVERY.cell_mm * np.sqrt(area / PATCH.large_mm2), RECOVERY.cell_mm, RECOVERY.widest_mm))
    return max(slack, RECOVERY.texels_a_cell * surface.texel_mm)


def mean_tangential(cloud: Cloud, tangential: Floats, patches: Patches) -> Floats:
    """(p, 3) mean of the tangential irradiance (n, 3) of the texels in the middle of each patch; 0 where there are none."""
    lead = np.zeros((len(patches), 3), np.float32)
    for first, last in patches.runs():
        members = patches.members(cloud, first, last, half=PATCH.cells // 6)
        total = np.maximum(np.bincount(members.patch, minlength=last - first), 1)
        for axis in range(3):
            lead[first:last, axis] = np.bincount(members.patch, tangential[members.texel, axis], last - first) / total
    return lead


def evidence_of(photo: Photographed, lit: Lit) -> Evidence:
    """What a texture shows beyond its fitted light and the paint that its colour identifies."""
    surface = photo.surface
    flux = surface.texels.interpolate(surface.faces, luminance(lit.shading.flux))
    irradiance, tangential = tangential_irradiance(flux, surface.normal)
    paint = paint_of(surface, photo.colours, lit)
    raw = log_residual(surface, luminance(photo.colours) / np.exp(paint.level), irradiance)
    closed = without_specks(surface, np.clip(raw, *RECOVERY.clip))
    return Evidence(closed, raw, paint, surface.normal, irradiance, tangential, lit.light.deviation)


def slope_visibility(photo: Photographed, lit: Lit) -> Floats:
    """(n,) 0 to 1, how far shading tells slopes in a texel: not where light falls squarely. 1 where no light is known."""
    if lit.evidence.trust <= 0:
        return np.ones(len(photo.surface), np.float32)
    flux = photo.surface.texels.interpolate(photo.surface.faces, luminance(lit.shading.flux))
    _, tangential = tangential_irradiance(flux, photo.surface.normal)
    oblique = np.square(tangential).sum(axis=1)
    return oblique / (oblique + INVERSION.kappa**2)


def log_residual(surface: TexturedSurface, bright: Floats, irradiance: Floats) -> Floats:
    """(n,) log of luminance over smooth irradiance, its median 0, clipped to what fine relief can do."""
    floor = 0.02 * float(np.median(bright)) + 1e-5
    residual = np.log(np.maximum(bright, floor)) - np.log(irradiance)
    return np.clip(residual - np.median(residual), *RECOVERY.wide).astype(np.float32)


def shading_share(residual: Floats, deviation: float) -> float:
    """How far the residual (n,) can be shading, 0 to 1, rather than paint of the body's own hue (grain, a black print).

    Paint is darker than the light allows over more than specks' area: fine relief under one light stays above the lower clip
    all but everywhere (at most 0.2 % of the texels of dusted bench pieces, 4 % where a piece was cut from its stand and has
    crevices that nobody saw); a dark print lies below it in a fifth of them. Between 5 and 15 % trust fades. And paint leaves
    the light's fit with a large `deviation` of what it cannot explain: 0.08 to 0.12 on dusted bench pieces, 0.06 to 0.14 on
    painted ones, 0.26 and more on grained wood. Between 0.16 and 0.24 trust fades; where the net is used, which separates grain
    from cuts by itself, it is called with a `deviation` of 0.
    """
    dark = (0.15 - float(np.mean(residual <= RECOVERY.clip[0] + 1e-3))) / 0.10
    return float(np.clip(min(dark, (0.24 - deviation) / 0.08), 0.0, 1.0))


def without_specks(surface: TexturedSurface, residual: Floats) -> Floats:
    """The residual with specks of dust closed over; on vertices, which are coarser than dust, as it is."""
    if surface.on_vertices:
        return residual
    raster, mask = surface.texels.scatter(residual), surface.texels.mask()
    specks = speckles(raster, mask, surface.texel_mm)
    return closed(raster, mask, specks).reshape(-1)[surface.texels.index]


def slope_precision(signal: Signal) -> Floats:
    """(p,) weight of a texture's slopes along its light in each patch: the share of the patch that it shows, times the inverse
    variance of a slope read from it, which is proportional to the square of the tangential irradiance."""
    return signal.share * ((signal.mean_tangential**2).sum(axis=1) + RECOVERY.faint_tangential**2)
