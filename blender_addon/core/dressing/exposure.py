"""How is a picture exposed? By a grey card first, and then by the piece's own highlights and shadows.

The card measures the light. Where a small trial picture of the piece can be rendered, its highlights are brought near the top
of what the picture can show and its shadows kept open, within limits round the card's exposure, so that a dark piece stays
dark. Otherwise the card and an offset by material are used.
"""

from __future__ import annotations

import math

import numpy as np

from ..arrays import Floats
from ..colour import blackbody
from ..mesh.triangles import unit
from ..records import record
from ..srgb import luminance
from ..surface.kinds import KINDS

GREY = 0.18
"""Reflectance of the photographic grey card, and the scene-linear value at which it is placed.

Both view transforms of the job show that value as sRGB 118, the code of 18 %: AgX keeps its middle grey in every look.
"""

OFFSETS = {kind.key: kind.exposure for kind in KINDS.values()}
"""Stops over the card, by material."""

METALS = tuple(kind.key for kind in KINDS.values() if kind.metal)
"""Kinds whose colour is a specular reflectance, not a diffuse albedo."""

PALE, WHITE = 0.4, 0.7
"""Albedos at which the offset begins to fall, and from which it is that of plaster (whose albedo is 0.7 to 0.75)."""


SIDEWAYS = 0.3
"""Ratio of net flux from the side to all light that arrives, above which a form has a side in shade: 0.31 for a soft box with
fill."""

EVEN_SKY, LAMP = 0.55, 0.75
"""Ratio of net flux to all light that arrives: at most this under a sky without sun (0.5 where it is even), and at least this
where a sun or a lamp dominates."""


def usual_offset(kind: str, shade: float = 1.0, albedo: Floats | None = None) -> float:
    """Stops over the card for a material by its kind; shade: 0 to 1, how much of a side the light leaves in shade
    (`shade_share`).

    albedo: (3,) of the material where it is known; porcelain and white marble must keep their texture as plaster does.
    """
    whole = OFFSETS.get(kind, 0.0)
    if albedo is not None and kind not in METALS:
        dark = float(np.clip((WHITE - luminance(np.asarray(albedo, float))) / (WHITE - PALE), 0.0, 1.0))
        whole = min(whole, OFFSETS["plaster"] + (whole - OFFSETS["plaster"]) * dark)
    return whole if whole <= 0.0 else whole * shade


@record
class Tone:
    """What a view transform of the job shows, in stops over mid-grey of scene-linear light.

    top: what comes out as code 221 of 255, to which the lights of a piece are brought. highest: as code 238, beyond which they
    are not brought for the sake of shadows. dark: as L* 13, under which a shadow has no texture left.
    """

    top: float
    highest: float
    dark: float


TONES = {"AgX": Tone(2.33, 3.05, -1.95), "Standard": Tone(2.01, 2.25, -3.57)}
"""By the view transform, with the look that the lighting step gives it (tests measure both)."""

LIGHTS_PERCENT, SHADOWS_PERCENT = 99.0, 5.0
"""Percentiles of a piece's luminance that represent its highlights and its shadows."""

LEAST_OVER_CARD = -1.2
"""Lowest exposure of a piece, however pale, in stops relative to the card's."""
DARK, LIGHT = 0.08, 0.26
"""Albedos between which the allowed lightening rises, up to that of stoneware: a dark piece, and one of walnut (0.16), must
stay dark beside its surroundings."""
MOST_OVER_CARD, MOST_OF_DARK, MOST_OF_METAL = 2.2, 1.0, 1.7
"""Stops over the card by which highlights may be raised: of a light or middling piece, of a dark one, of metal, whose
highlights are reflections. Judged by eye on our owl in four light set-ups."""


ROOM = 0.25
"""Stops over mid-grey at which the room behind is held in every hero of a series, however its piece is exposed. Set by eye."""
ROOM_LEVELS = (0.2, 2.2)
"""Least and most that a room's reflectance is multiplied by for that."""


def room_level(measured: float, *, stops: float, wish: float = 0.0) -> float:
    """The factor on the reflectance of the room behind with which a picture exposed by `stops` shows it at `ROOM`.

    measured: its linear luminance at the factor 1. wish: stops by which it is to be lighter. Rounded, so that measuring again
    gives the same.
    """
    wanted = GREY * 2.0 ** (ROOM + wish - stops)
    return round(float(np.clip(wanted / max(measured, 1e-9), *ROOM_LEVELS)), 3)


def most_over_card(kind: str, albedo: Floats | None) -> float:
    """Stops over the card by which the lights of a material may be lifted. albedo: (3,), None where a picture gives it."""
    if kind in METALS:
        return MOST_OF_METAL
    if albedo is None:
        return MOST_OVER_CARD
    light = float(np.clip((luminance(np.asarray(albedo, float)) - DARK) / (LIGHT - DARK), 0.0, 1.0))
    return MOST_OF_DARK + light * (MOST_OVER_CARD - MOST_OF_DARK)


def stops_for_piece(bright: Floats, tone: Tone, *, card: float, most: float) -> float:
    """The exposure in stops that suits a piece as it stands in its light.

    bright: (n,) scene-linear luminance of the piece's pixels in a trial picture. card: the exposure that puts the grey card on
    mid-grey. most: the stops over it that are allowed. The highlights are brought to `tone.top`; where the shadows then have no
    texture, the exposure is raised until they have, or until the highlights reach `tone.highest`.
    """
    lights, shadows = (max(float(np.percentile(bright, share)), 1e-9) for share in (LIGHTS_PERCENT, SHADOWS_PERCENT))
    for_lights = tone.top - math.log2(lights / GREY)
    for_shadows = tone.dark - math.log2(shadows / GREY)
    wanted = min(max(for_lights, for_shadows), for_lights + tone.highest - tone.top)
    return float(np.clip(wanted, card + LEAST_OVER_CARD, card + most))


HELD = 0.5
"""Stops by which a piece's own exposure may differ from its series' and still be held there: pieces of one material differ by
their form alone, and less; one of another material differs by more. A guess."""


def held_in_series(stops: float, series: float) -> float:
    """The exposure in stops of a piece whose series is exposed at `series`: that, where its own does not differ by more than
    HELD, so that pieces of one material look alike side by side."""
    return series if abs(stops - series) <= HELD else stops


def shade_share(flux: Floats, total: float, camera: Floats) -> float:
    """0 to 1: how much of the side seen by the camera a light leaves in shade, for the offset to make up for.

    flux: (3,) net flux at the subject, and `total`, all light that arrives from whatever side, in the same unit; their ratio
    tells how much form a light gives (vector over scalar illumination, J. A. Lynes et al., *The flow of light into buildings*,
    Trans. IES 31, 1966). camera: (3,) direction to the camera.

    Light from all round leaves none, and neither does a cloudy sky, of which a card turned to the camera gets less than
    surfaces that face up. A sun or a lamp overhead leaves the whole front in shade; light from behind leaves the card itself in
    shade.
    """
    flux, camera = np.asarray(flux, float), unit(np.asarray(camera, float))
    net = max(float(np.linalg.norm(flux)), 1e-12)
    level = float(np.hypot(flux[0], flux[1]))
    behind = float(np.clip(1.0 + 2.0 * (flux @ camera) / net, 0.0, 1.0))
    total = max(total, 1e-12)
    aside = min(level / net / 0.45, level / total / SIDEWAYS)
    overhead = (net / total - EVEN_SKY) / (LAMP - EVEN_SKY)
    return float(np.clip(max(aside, overhead), 0.0, 1.0)) * behind


def card_normal(towards_camera: Floats, towards_light: Floats) -> Floats:
    """(3,) the normal of the card: between camera and main light, nearer to the camera, so that both see it (common practice).

    It is the sum of two parts camera and one part light, so that the card is lit like the parts of the subject that face the
    viewer. For light from behind it turns at most 60 degrees from the camera, so that it is still seen.
    """
    camera, light = unit(np.asarray(towards_camera, float)), unit(np.asarray(towards_light, float))
    half = unit(2.0 * camera + light)
    if np.dot(half, camera) >= 0.5:
        return half
    side = light - np.dot(light, camera) * camera
    if np.linalg.norm(side) < 1e-6:
        return camera
    return 0.5 * camera + math.sqrt(0.75) * unit(side)


BALANCED_K = 2000.0, 15000.0
"""Colour temperatures between which cameras are balanced, kelvin (common practice)."""


NEUTRAL_K = 6500.0
"""Colour temperature for which Blender's view is balanced by default."""


WARMEST_K = 100_000.0
"""The highest temperature that Blender's view is balanced for."""


def balanced_for(warmth: float, *, before: float = NEUTRAL_K) -> float:
    """Colour temperature, kelvin, to balance a picture for, so that it comes out `warmth` mired warmer than one balanced for
    `before` kelvin, at first the neutral one; within the temperatures that Blender takes.

    Mired are a million over kelvin, as light-balancing filters are marked (common practice): equal steps look about equal. A
    camera balanced for bluer light than there is shows all things warmer.
    """
    return 1e6 / max(1e6 / before - warmth, 1e6 / WARMEST_K)


def stops_for(measured: float, *, target: float = GREY, offset: float = 0.0) -> float:
    """The exposure in stops that takes a measured luminance to `target`, plus an offset in stops."""
    if not measured > 0.0:
        raise ValueError("no light falls on the card")
    return math.log2(target / measured) + offset


def white_balance(card: Floats, share: float) -> Floats:
    """(3,) gains for red, green and blue that take a grey card's colour a `share` (0 to 1) of the way to neutral.

    Von Kries in the picture's own primaries, as cameras do it; the card's luminance is kept. Light bluer or redder than a
    camera can be set for keeps its tint: taken as white, the blue hour would turn everything else yellow and green.
    """
    card = np.maximum(np.asarray(card, float), 1e-9)
    low, high = (float(light[2] / light[0]) for light in map(blackbody, BALANCED_K))
    ratio = float(card[2] / card[0])
    beyond = np.sqrt(np.clip(ratio, low, high) / ratio)
    card = card * np.array([1.0 / beyond, 1.0, beyond])
    gains = (float(luminance(card)) / card) ** share
    return gains * float(luminance(card)) / float(luminance(card * gains))


def environment_flux(pixels: Floats, *, turn: float = 0.0, above_only: bool = True) -> Floats:
    """(3,) net flux from an equirectangular picture: integral of radiance times direction over the sphere.

    pixels: (h, w) luminance, row 0 at the bottom (nadir). The middle column looks along +X, and columns to the right of it
    turn clockwise seen from above, as Cycles maps such pictures. turn: degrees by which the surroundings are turned about the
    vertical, counter-clockwise from above. above_only: light from below the horizon is ignored, since the table blocks it.
    """
    pixels = np.asarray(pixels, float)
    height, width = pixels.shape
    up = (np.arange(height) + 0.5) / height * math.pi - math.pi / 2
    around = math.pi - 2 * math.pi * (np.arange(width) + 0.5) / width + math.radians(turn)
    cell = math.pi / height * 2 * math.pi / width * np.cos(up)
    weight = pixels * cell[:, None]
    if above_only:
        weight = weight * (up > 0)[:, None]
    flat = weight * np.cos(up)[:, None]
    x = float((flat * np.cos(around)).sum())
    y = float((flat * np.sin(around)).sum())
    return np.array([x, y, float((weight * np.sin(up)[:, None]).sum())])


def environment_total(pixels: Floats) -> float:
    """All light from above the horizon of an equirectangular picture (h, w): its radiance over the half sphere."""
    pixels = np.asarray(pixels, float)
    height, width = pixels.shape
    up = (np.arange(height) + 0.5) / height * math.pi - math.pi / 2
    cell = math.pi / height * 2 * math.pi / width * np.cos(up)
    return float((pixels * (cell * (up > 0))[:, None]).sum())
