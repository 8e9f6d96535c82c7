"""Takes the room's light out of a texture: fit the light, evaluate its irradiance on the surface, divide."""

from __future__ import annotations

import numpy as np

from ...arrays import Floats, Ints
from ...records import record
from ...srgb import luminance
from ...statistics import robust_deviation
from ..light.lamplight import Lit, fit_surface_light
from ..paint import lasting_light, shading_tint
from ..speckle import masked_blur
from ..textured_surface import TexturedSurface
from .denoising import without_noise
from .residual import residual_shading


@record
class LightRemoved:
    """A texture without its light.

    albedo: (n, 3) float32 linear, 0 to 1, at the texels.
    shading: (n, 3) what was divided out, median 1.
    deviation_before, deviation_after: standard deviation of the log brightness of texture and albedo.
    untouched: the texture showed no light and is as it came.
    """

    albedo: Floats
    shading: Floats
    deviation_before: float
    deviation_after: float
    untouched: bool = False


@record
class RemovalConstants:
    """Numbers of the division by the light; guesses."""

    floor: float = 0.08
    """Least shading as a share of its median, so that noise is not amplified."""
    gloss: float = 0.3
    """By how much a highlight exceeds its surroundings in its weakest channel, as a natural logarithm."""
    gloss_mm: float = 1.5
    """Sigma of those surroundings, mm."""


REMOVAL = RemovalConstants()


def without_light(
    surface: TexturedSurface,
    colours: Floats,
    *,
    relief: Floats | None = None,
    occluders: tuple[Floats, Ints] | None = None,
    seed: int = 1,
    as_photo: bool = False,
) -> LightRemoved:
    """The albedo at the texels.

    The light is a non-negative environment of many directions, seen through the surface's own visibility; bounced light comes
    from the texture itself, so that coloured neighbours tint as they did. Robust weights keep pigment out of the fit. A texture
    that shows no evidence of a light (`LightEvidence`) is left as it is.

    colours: (n, 3) linear texture colours.
    relief: (n,) log of the shading of relief finer than the mesh (`Relief.shade`); it is divided out too, and so is what a
        paint is darker by there than elsewhere (`residual_shading`).
    occluders: vertices (mm) and faces of what stood by while the photos were taken.
    seed: of the samples that visibility is traced with.
    as_photo: take the texture as a photo of a lit surface, whatever the evidence says.
    """
    lit = fit_surface_light(surface, colours, occluders=occluders, seed=seed)
    trust = 1.0 if as_photo else lit.evidence.trust
    if trust == 0.0:
        return _as_it_is(colours)
    flux = surface.texels.interpolate(surface.faces, lit.shading.flux.reshape(-1, 9)).reshape(-1, 3, 3)
    shading = np.einsum("nac,na->nc", flux, surface.normal)
    level = np.maximum(np.median(shading, axis=0), 1e-9)
    shading = np.maximum(shading, REMOVAL.floor * level) / level
    if relief is None:
        calm = without_noise(surface, colours, shading)
    else:
        read = shading * np.exp(relief)[:, None]
        calm = without_noise(surface, colours, read)
        shading = shading * tinted(lit, surface.faces, relief + residual_shading(surface, calm, lit, read, relief))
    matt = without_highlights(surface, calm, shading)
    if trust < 1.0:  # uncertain: only the trusted part of the shading is divided out
        shading, matt = shading**trust, colours + trust * (matt - colours)
    return finished(matt, shading)


def _as_it_is(colours: Floats) -> LightRemoved:
    """A texture without evidence of a light, untouched."""
    deviation = float(np.std(np.log(np.maximum(colours.mean(axis=1), 1e-3))))
    return LightRemoved(colours.astype(np.float32), np.ones_like(colours, np.float32), deviation, deviation, True)


def tinted(lit: Lit, faces: Ints, shade: Floats) -> Floats:
    """(n, 3) shading of log brightness `shade` (n,), tinted: darker places are lit more by their surroundings, in their hue, as
    the mesh's own hollows are."""
    red, blue = shading_tint(lasting_light(lit), faces)
    turn = np.array([red, 0.0, blue], np.float32)
    return np.exp(shade[:, None] * (1 + turn - luminance(turn)))


def without_highlights(surface: TexturedSurface, colours: Floats, shading: Floats) -> Floats:
    """Texture colours (n, 3) in which small gleams are brought down to what lies round them.

    A gleam adds the lamp's light to all channels: the weakest one rises with it, which a bright pigment seldom does.
    """
    weakest = np.log(np.maximum((colours / np.maximum(shading, 1e-3)).min(axis=1), 1e-3))
    raster, mask = surface.texels.scatter(weakest), surface.texels.mask()
    near = masked_blur(raster, mask, REMOVAL.gloss_mm / max(surface.texel_mm, 1e-6))
    near = near.reshape(-1)[surface.texels.index]
    above = weakest - near
    limit = max(REMOVAL.gloss, 4 * (robust_deviation(above) + 1e-6))
    drop = np.where(above > limit, above - limit, 0)
    return (colours * np.exp(-drop)[:, None]).astype(np.float32)


def finished(colours: Floats, shading: Floats) -> LightRemoved:
    """Divide, keep the texture's own median brightness, bring into gamut without clipping hue."""
    albedo = colours / np.maximum(shading, 1e-3)
    level = np.median(colours.sum(axis=1)) / max(float(np.median(albedo.sum(axis=1))), 1e-6)
    albedo = into_gamut(albedo * level)
    before, after = (float(np.std(np.log(np.maximum(x.mean(axis=1), 1e-3)))) for x in (colours, albedo))
    return LightRemoved(albedo.astype(np.float32), shading.astype(np.float32), before, after)


def into_gamut(linear: Floats, *, black: float = 0.002, knee: float = 0.8) -> Floats:
    """Colours (n, 3) with every channel in (0, 1): dark ones lifted to `black`, bright ones rolled off above `knee`.

    The roll-off acts on the largest channel and scales the colour, so that hue stays.
    """
    peak = linear.max(axis=1, keepdims=True)
    over = np.maximum(peak - knee, 0) / (1 - knee)
    rolled = np.where(peak > knee, knee + (1 - knee) * over / (1 + over), peak)
    return np.clip(linear * rolled / np.maximum(peak, 1e-6), black, 1.0)
