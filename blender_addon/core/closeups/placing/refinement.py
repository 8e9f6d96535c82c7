"""Brings a camera that is nearly right into place on the photograph itself, from coarse to fine, and says what speaks for it.

At each size the piece is drawn as the present camera sees it, lit as the photo is, and its patches are looked for on the photo;
the camera that shows most of them where they were found is the next.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...arrays import Floats
from ...records import record
from ...srgb import decode, encode
from ...surface.bandpass import gaussian_blur
from ..camera import PhotoCamera
from . import patches
from .light import Light, fitted, grey_in, lamp_of
from .look import Look, Skin, look
from .pictures import Photograph
from .resection import Prior, Seen, errors, resected
from .uncertainty import covariance_of, uncertainty

STEPS = ((125, 6), (250, 6), (250, 5), (500, 5), (500, 3), (1000, 4), (1000, 3), (2000, 4), (2000, 4))
"""Longest side of the photo at each turn, and how many pixels round its place a patch is looked for. A patch is some 0.07 mm
off on our bench, however large it is, so that many small ones place a camera better: the place of a photo of a whole piece to
0.4 % instead of 0.9 %."""
ALWAYS, FINER = 1000, 1.3
"""The largest size that is always worked on; and the texels of the scan that a pixel must be larger than for a larger copy of
the photo to show more of the scan."""
ABOVE, SHADED = 0.75, 0.45
"""Standard deviations, in texels of the scan, of what all patches have in common: how far above the scan's surface lies what
is seen (ridges, which a scan rounds off), and how far a light that is not quite the photo's moves it, by how far the surface
turns away. Set on our bench, where a texel is 0.065 mm."""
MIXED = 1000
"""Longest side of the photo from which on each patch may be lit in its own way: the camera is then so nearly right that a patch
that is freer doesn't stray. Patches of our bench's owl lie as far off as before, but those next to each other less in the same
way, since relief that was read from one light is wrong alike along a stroke."""
CHECKED, COARSEST_CHECK = (500, 7), 125
"""The same for the check at the end: so far round that chance would strew the places that are found. A photo from so near that
its pixels are finer than the scan's texels is checked at a half or a quarter of that size: of the demo's dusted scan on a photo
of the bare piece, 36 mm wide, 0.36 of the patches lie right at 500 pixels, 0.58 at 250, 0.85 at 125; mirrored 0.08 and 0.02.
"""
RIGHT = 1.5
"""Pixels of the check's size within which a patch lies right."""
FEWEST = 16
"""Patches that a camera must rest on."""


@record
class Rests:
    """What a camera rests on, at the size that was worked on. camera: there. seen: patches. scale: how many of their own
    deviations count as one. covariance: (8, 8) of the camera's steps, as `moved` has them."""

    camera: PhotoCamera
    seen: Seen
    scale: float
    covariance: Floats


@record
class Fit:
    """A camera at the photo's whole size and what speaks for it.

    asked: patches with contrast; found: those that the photo shows near by; right: those found where the camera has them, all
    at the check's size. correlation: median of the latter. shift_mm, turn_deg, place_percent: standard deviations of points of
    the piece that the photo shows, and of the camera's turn and place (`Uncertainty`). worked_mm: edge of a pixel on the piece
    at the size that was worked on. texel_mm: of the scan. light: as fitted. rests_on: what the camera was solved for by.
    """

    camera: PhotoCamera
    asked: int
    found: int
    right: int
    correlation: float
    shift_mm: float
    turn_deg: float
    place_percent: float
    worked_mm: float
    texel_mm: float
    light: Light
    rests_on: Rests | None = None

    @property
    def agreement(self) -> float:
        """Share of the patches found that lie right: 0.05 by chance."""
        return self.right / max(self.found, 1)


@record
class _Matched:
    """A look, its light, and where its patches were found on the photo."""

    look: Look
    light: Light
    seen: Seen
    correlation: Floats
    asked: int


def refined(
    start: PhotoCamera,
    photo: Photograph,
    skin: Skin,
    prior: Prior,
    *,
    marked: Seen | None = None,
    steps: Sequence[tuple[int, int]] = STEPS,
    free: bool = True,
) -> Fit | None:
    """The camera near `start` (at any size of the photo); None where next to nothing is found.

    prior: image distance, in the whole photo's pixels, and so is what was `marked` by hand, which counts beside the patches.
    free: image distance and radial term change, too.
    steps: (longer side in pixels, pixels that are looked around) of each round, from coarse to fine.
    """
    camera, lamp = start.scaled(photo.size), None
    last: tuple[PhotoCamera, float, _Matched, Prior] | None = None
    for number, (longest, reach) in enumerate(steps):
        level = photo.at(longest)
        if longest > ALWAYS and (last is None or not _shows_more(level, last, skin)):
            break
        small = camera.scaled((level.shape[1], level.shape[0]))
        found = _matched(small, level, skin, lamp, reach, find_lamp=number == min(1, len(steps) - 1), mix=longest >= MIXED)
        last = None
        if found is None:  # a coarse picture may show too little, a fine one may not
            continue
        lamp = found.light.lamp
        scaled = Prior(prior.distance * small.size[0] / photo.size[0], prior.spread)
        small, scale = _solved(small, found.seen, scaled, free, marked and marked.scaled(small.size[0] / photo.size[0]))
        last = small, scale, found, scaled
        camera = small.scaled(photo.size)
    return None if last is None else _fit(last, photo, skin, free, marked)


def _matched(
    camera: PhotoCamera,
    photo: Floats,
    skin: Skin,
    lamp: Floats | None,
    reach: int,
    *,
    find_lamp: bool = False,
    mix: bool = False,
) -> _Matched | None:
    """The patches of what a camera sees, on a photo (h, w).

    lamp: (3,) where it was found before, or None. reach: pixels that are looked around. find_lamp: look for it now. mix: let
    each patch be lit in its own way.
    """
    shown = look(skin, camera)
    if shown is None:
        return None
    linear = decode(photo)
    if find_lamp:
        lamp = lamp_of(shown, linear, skin)
    light = fitted(shown, linear, skin, lamp)
    mask = shown.mask()
    drawn = gaussian_blur(shown.raster(encode(np.clip(grey_in(light, shown, skin), 0, 1))), 0.5)
    row, column = patches.corners_of(drawn, mask)
    if len(row) < FEWEST:
        return None
    shifts = patches.matched(drawn, mask, photo, (row, column), reach, mixed=_own_light(shown, camera) if mix else ())
    place = np.full(mask.size, -1)
    place[shown.index] = np.arange(len(shown.index))
    pixel = place[row * mask.shape[1] + column]
    kept = np.flatnonzero((shifts.correlation > 0) & (pixel >= 0))
    if len(kept) < FEWEST:
        return None
    across = column[kept] + 0.5 + shifts.shift[kept, 0]
    down = mask.shape[0] - (row[kept] + 0.5 + shifts.shift[kept, 1])
    whiten = shifts.whiten[kept] * np.array([[1.0, -1.0], [-1.0, 1.0]])  # y of the photo runs down
    rows = pixel[kept]
    drift = _drift(camera, shown.position[rows].astype(float), shown.normal[rows].astype(float), skin.texel_mm)
    seen = Seen(shown.position[rows].astype(float), np.stack([across, down], axis=1), whiten, drift)
    return _Matched(shown, light, seen, shifts.correlation[kept], shifts.asked)


def _own_light(shown: Look, camera: PhotoCamera) -> list[Floats]:
    """(h, w) pictures of which any light from far away makes a small part of the piece, beside the light that was fitted: its
    albedo alone, and lit from the right and from below."""
    albedo = encode(np.clip(shown.albedo, 0, 1))
    ways = shown.normal @ camera.rotation[:2].T
    return [
        gaussian_blur(shown.raster(values.astype(np.float32)), 0.5) for values in (albedo, *(albedo * way for way in ways.T))
    ]


def _shows_more(level: Floats, last: tuple[PhotoCamera, float, _Matched, Prior], skin: Skin) -> bool:
    """Whether a copy of the photo is larger than what is always worked on, and the scan has something to compare it with."""
    camera, _, found, _ = last
    return max(level.shape) > FINER * ALWAYS and found.look.pixel_mm * max(camera.size) / ALWAYS > FINER * skin.texel_mm


def _drift(camera: PhotoCamera, points: Floats, normals: Floats, texel_mm: float) -> Floats:
    """(n, 2, 5) pixels by which what all points have in common moves them on the photo."""
    above = camera.project(points + ABOVE * texel_mm * normals)[0] - camera.project(points)[0]
    pixel_mm = (points - camera.place) @ camera.rotation[2] / camera.distance
    aside = SHADED * texel_mm / pixel_mm[:, None] * (normals @ camera.rotation[:2].T)
    moved = np.zeros((len(points), 2, 5))
    moved[:, :, 0] = above
    moved[:, 0, 1:3] = moved[:, 1, 3:5] = aside
    return moved


def _solved(camera: PhotoCamera, seen: Seen, prior: Prior, free: bool, marked: Seen | None = None) -> tuple[PhotoCamera, float]:
    """The camera, and how many of their own deviations the patches are off."""
    scale = max(1.0, _typical(camera, seen))
    for _ in range(3):
        camera = resected(camera, seen.beside(marked, scale), prior, scale=scale, free=free)
        scale = max(0.5, _typical(camera, seen))
    return camera, scale


def _typical(camera: PhotoCamera, seen: Seen) -> float:
    """The median length of errors in a plane is 1.18 deviations."""
    return float(np.median(np.linalg.norm(errors(camera, seen), axis=1))) / 1.18


def _check_size(across_mm: float, texel_mm: float) -> int:
    """Longest side at which a photo that shows `across_mm` of the piece is checked against a scan of such texels."""
    longest = CHECKED[0]
    while across_mm / longest < texel_mm and longest > COARSEST_CHECK:
        longest //= 2
    return longest


def _fit(
    last: tuple[PhotoCamera, float, _Matched, Prior], photo: Photograph, skin: Skin, free: bool, marked: Seen | None
) -> Fit | None:
    camera, scale, found, prior = last
    level, reach = photo.at(_check_size(found.look.pixel_mm * max(camera.size), skin.texel_mm)), CHECKED[1]
    small = camera.scaled((level.shape[1], level.shape[0]))
    check = _matched(small, level, skin, found.light.lamp, reach)
    if check is None:
        return None
    far = np.linalg.norm(small.project(check.seen.points)[0] - check.seen.pixels, axis=1)
    right = far < RIGHT
    spots = marked and marked.scaled(camera.size[0] / photo.size[0])
    seen, diagonal = found.seen.beside(spots, scale), skin.reach / found.look.pixel_mm
    covariance = covariance_of(camera, seen, prior, scale, diagonal=diagonal, free=free)
    off = uncertainty(camera, seen, covariance)
    return Fit(
        camera.scaled(photo.size), check.asked, len(far), int(right.sum()),
        float(np.median(check.correlation[right])) if right.any() else 0.0,
        off.shift * found.look.pixel_mm, off.turn_deg, off.place_percent,
        found.look.pixel_mm, skin.texel_mm, found.light, Rests(camera, seen, scale, covariance),
    )  # fmt: skip
