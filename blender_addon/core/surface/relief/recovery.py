"""From textured surfaces to relief: the light fitted, the specks set aside, what is left inverted. The whole method in order.

1. Fit the light of each texture on its own surface (`light`, `visibility`); without evidence of a light (`light.evidence`)
   the texture is left alone.
2. r = log(texture) - log(smooth shading) - log(paint told by its colour); specks of dust closed over (`speckle`).
3. Lay patches over the surface that is to get the relief; splat each texture's r and the pull of its light (`patches`).
4. Signal and noise from the data itself, then a Wiener inversion of each texture in the frame of its light (`inversion`).
5. A small net corrects what is not linear and tells paint from shading (`refiner`); the patches are brought to one level of
   shading (`levelling`), the textures' slopes joined and read back, with the shading that goes with them (`fusion`). How much
   was read as shading is how far to believe it (`told_by`).
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from ...arrays import Floats, Ints
from ...srgb import luminance
from ..light.lamplight import Lit, fit_surface_light
from ..paint import paint_of
from ..patches import CELLS, Cloud, Patches, lay_patches, sort_into_boxes
from ..speckle import closed, speckles
from ..textured_surface import Surface
from .fusion import Relief, joined, patch_fields, refined
from .inversion import Evidence, Signal, Told, blind_spectrum, gather_signal, pull_of_light, told_by
from .levelling import levels

Steps = Generator[tuple[float, str], None, "Recovery"]

CLIP = (-1.0, 0.6)  # log brightness against the smooth shading outside of this does not follow the linear model
WIDE = (-2.2, 1.0)  # and outside of this is no fine relief: what the net is shown
CELL_MM = 0.07
LARGE_MM2 = 20_000.0
WIDEST_MM = 0.115
"""A surface larger than LARGE_MM2 is worked on in coarser cells, up to this: time stays in bounds, and on the bench's owl cells
of 0.1 mm still cut 30 % where those of 0.07 cut 36."""
FAINT_PULL = 0.1  # a light that pulls no more than this tells of depth alone
COARSEST_DETAIL_MM = 2.0
TOLD_A_PATCH = 200  # texels that are asked when patches are brought to one level
SURE = 0.4
"""Trust from which on relief is shown in full: 0.48 on a dusted piece with next to no relief, 0.54 to 1 on worked ones; 0.10 to
0.39 on grained wood, mottles and spots without a hue."""
READING = "Reading the surface"


@dataclass(frozen=True)
class Photographed:
    """A surface and its texture: colours (n, 3) linear at the texels.

    occluders: (vertices mm, faces) of what stood by, or None. shared: raster index (k,) and colours (k, 3) of the texels that
    several places of the surface show, which are none of its own; None where there are none.
    """

    surface: Surface
    colours: Floats
    occluders: tuple[Floats, Ints] | None = None
    shared: tuple[Ints, Floats] | None = None


@dataclass(frozen=True)
class Recovery:
    """What came of it. relief: of the first surface's texels. light: one `Lit` a texture.

    trusted_mm: finest wavelength that is read as shading, inf when there is none. shaded: how far the textures can be shading
    rather than paint, 0 to 1 (`shading_share`). trust: 0 to 1, how much of what a texture shows was read as shading (`Told`),
    `shaded` is in it.
    """

    relief: Relief
    light: list[Lit]
    trusted_mm: float
    shaded: float
    trust: float

    @property
    def lit(self) -> float:
        """0 to 1: how far any texture is to be read as a photo of a lit, matt surface (`LightEvidence.trust`)."""
        return max(one.evidence.trust for one in self.light)

    @property
    def strength(self) -> float:
        """How strong to show it by default: full where shading is told from paint, less where it may be paint."""
        return float(np.clip(self.trust / SURE, 0.0, 1.0))

    @property
    def found(self) -> bool:
        """Whether there is anything to show: of details that are no finer than that, the mesh itself knows more."""
        return self.trusted_mm < COARSEST_DETAIL_MM and self.trust > 0.05


def recover(photographed: Sequence[Photographed], *, largest_mm: float, seed: int = 1, as_photos: bool = False) -> Steps:
    """The relief of the first surface from all textures that hold a light; yields (fraction, words).

    as_photos: take them all as photos of a lit surface, whatever the evidence says.
    """
    main = photographed[0].surface
    lights: list[Lit] = []
    for place, one in enumerate(photographed):
        yield 0.2 * place / len(photographed), "Fitting the light"
        lights.append(fit_surface_light(one.surface, one.colours, occluders=one.occluders, seed=seed))
    trusts = [1.0 if as_photos else lit.evidence.trust for lit in lights]
    lit_ones = [place for place, trust in enumerate(trusts) if trust > 0]
    if not lit_ones:
        return _nothing(main, lights)
    patches, cloud = lay_patches(main.position, main.normal, cell_mm=cell_mm(main), seed=seed)
    share = 0.65 / len(lit_ones)
    read: list[_Read] = []
    for count, place in enumerate(lit_ones):
        one, own = photographed[place], cloud
        if place:
            own = sort_into_boxes(one.surface.position, one.surface.normal, cloud.box_mm)
        reading = _read(one, lights[place], trusts[place], patches, own, largest_mm)
        read.append((yield from _steps(reading, 0.2 + count * share, share)))
    if lit_ones[0] == 0:  # the shading that is kept is that of the first texture
        thin = slice(None, None, max(1, len(main) // (TOLD_A_PATCH * len(patches))))
        some = sort_into_boxes(main.position[thin], main.normal[thin], cloud.box_mm)
        fields = read[0].fields
        fields[:, 2] += levels(read[0].frame, some, fields[:, 2])[:, None, None]
    weights = [one.share * told_along(one.signal) for one in read]
    frames, made = [one.frame for one in read], [one.fields for one in read]
    last = joined(frames[0], frames, made, weights, cloud, low_mm=largest_mm)
    relief = yield from _told(last, 0.85, 0.15, "Joining the patches")
    if lit_ones[0] != 0:
        relief = replace(relief, shade=np.zeros_like(relief.shade))
    # a texture that shows paint, or hardly any of this surface, does not speak against those that show it well
    trust = max(one.share * one.told.share for one in read)
    finest = min(one.told.finest_mm for one in read)
    return Recovery(relief, lights, finest, max(one.share for one in read), min(trust, 1.0))


@dataclass(frozen=True)
class _Read:
    """What was read in one texture. share: 0 to 1, how far it can be shading."""

    frame: Patches
    signal: Signal
    fields: Floats
    told: Told
    share: float


def _read(
    one: Photographed, lit: Lit, trust: float, patches: Patches, own: Cloud, largest_mm: float
) -> Generator[tuple[float, str], None, _Read]:
    """One texture inverted in the frame of its own light; yields (fraction, words).

    trust: 0 to 1, in its light. own: its texels in boxes.
    """
    evidence = evidence_of(one, lit)
    share = shading_share(evidence.raw, 0.0 if refined(patches) else lit.light.spread) * trust
    frame = patches.led_by(nearest_pull(own, evidence.pull, patches))
    signal = yield from _told(gather_signal(frame, own, evidence), 0.0, 0.4, READING)
    spectrum = blind_spectrum(frame, signal)
    inverting = patch_fields(frame, signal, spectrum, low_mm=largest_mm)
    fields = yield from _told(inverting, 0.4, 0.6, "Inverting the shading")
    return _Read(frame, signal, fields, told_by(frame, signal, fields[:, 2]), share)


def _nothing(surface: Surface, lights: list[Lit]) -> Recovery:
    """No relief, since no texture holds a light."""
    count = len(surface)
    none = np.zeros(count, np.float32)
    relief = Relief(np.zeros((count, 3), np.float32), none, none, np.ones(count, bool))
    return Recovery(relief, lights, float("inf"), 0.0, 0.0)


def _steps(
    work: Generator[tuple[float, str], None, Any], start: float, share: float
) -> Generator[tuple[float, str], None, Any]:
    while True:
        try:
            fraction, words = next(work)
        except StopIteration as end:
            return end.value
        yield start + share * fraction, words


def cell_mm(surface: Surface) -> float:
    """Edge of the patches' cells: fine enough for a texel, on large surfaces no finer than time allows."""
    area = len(surface) * surface.texel_mm**2
    slack = float(np.clip(CELL_MM * np.sqrt(area / LARGE_MM2), CELL_MM, WIDEST_MM))
    return max(slack, 0.85 * surface.texel_mm)


def nearest_pull(cloud: Cloud, pull: Floats, patches: Patches) -> Floats:
    """(p, 3) mean pull (n, 3) of the texels in the middle of each patch; 0 where there are none."""
    lead = np.zeros((len(patches), 3), np.float32)
    for first, last in patches.runs():
        members = patches.members(cloud, first, last, half=CELLS // 6)
        total = np.maximum(np.bincount(members.patch, minlength=last - first), 1)
        for axis in range(3):
            lead[first:last, axis] = np.bincount(members.patch, pull[members.texel, axis], last - first) / total
    return lead


def _told(work: Generator[float, None, Any], start: float, share: float, words: str) -> Generator[tuple[float, str], None, Any]:
    while True:
        try:
            fraction = next(work)
        except StopIteration as end:
            return end.value
        yield start + share * fraction, words


def evidence_of(one: Photographed, lit: Lit) -> Evidence:
    """What a texture shows beyond its light and the paint told by its colour."""
    surface = one.surface
    irradiance, pull = pull_of_light(surface.texels.interpolate(surface.faces, luminance(lit.shading.flux)), surface.normal)
    paint = paint_of(surface, one.colours, lit)
    raw = log_residual(surface, luminance(one.colours) / np.exp(paint.level), irradiance)
    closed = without_specks(surface, np.clip(raw, *CLIP))
    return Evidence(closed, raw, paint, surface.normal, irradiance, pull, lit.light.spread)


def log_residual(surface: Surface, bright: Floats, irradiance: Floats) -> Floats:
    """(n,) log of luminance over smooth irradiance, its median 0, clipped to what fine relief can do."""
    floor = 0.02 * float(np.median(bright)) + 1e-5
    residual = np.log(np.maximum(bright, floor)) - np.log(irradiance)
    return np.clip(residual - np.median(residual), *WIDE).astype(np.float32)


def shading_share(residual: Floats, spread: float) -> float:
    """How far the residual (n,) can be shading, 0 to 1, rather than paint of the body's own hue (grain, a black print).

    Paint is darker than the light allows over more than specks' area: fine relief under one light stays above the lower clip
    all but everywhere (at most 0.2 % of the texels of dusted bench pieces, 4 % where a piece was cut from its stand and has
    crevices that nobody saw); a dark print lies below it in a fifth of them. Between 5 and 15 % trust fades. And paint leaves
    the light's fit with a wide `spread` of what it cannot explain: 0.08 to 0.12 on dusted bench pieces, 0.06 to 0.14 on
    painted ones, 0.26 and more on grained wood. Between 0.16 and 0.24 trust fades; the net tells grain from cuts by itself, so
    that it is given a `spread` of 0.
    """
    dark = (0.15 - float(np.mean(residual <= CLIP[0] + 1e-3))) / 0.10
    return float(np.clip(min(dark, (0.24 - spread) / 0.08), 0.0, 1.0))


def without_specks(surface: Surface, residual: Floats) -> Floats:
    """The residual with specks of dust closed over; on vertices, which are coarser than dust, as it is."""
    if surface.on_vertices:
        return residual
    raster, mask = surface.texels.scatter(residual), surface.texels.mask()
    specks = speckles(raster, mask, surface.texel_mm)
    return closed(raster, mask, specks).reshape(-1)[surface.texels.index]


def told_along(signal: Signal) -> Floats:
    """(p,) how much a texture tells of the slopes along its light in each patch: what it shows of the patch, by the inverse
    variance of a slope read from it, which goes with the square of the light's pull."""
    return signal.share * ((signal.mean_pull**2).sum(axis=1) + FAINT_PULL**2)
