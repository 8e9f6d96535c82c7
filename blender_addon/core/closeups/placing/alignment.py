"""Brings a further photo, taken by hand near the first one's place with the same lens, onto the first one.

The first photo lies on the piece's form by its own camera, so that it can be seen from any place near by. Its patches, finer
than anything the scan has, are looked for on the further photo as the present camera lays it over the first; the lens stays,
turn and place are solved for.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from ...arrays import Bools, Floats
from ...rasters import bilinear
from ...records import record
from ...surface.bandpass import gaussian_blur
from ..camera import PhotoCamera, moved
from . import patches
from .look import Look, Skin, look
from .pictures import Photograph, photograph
from .resection import Prior, Seen, errors, resected

STEPS = ((250, 4), (250, 3), (500, 3), (1000, 3), (1000, 3))
"""Longest side of the photos at each turn, and pixels round its place that a patch is looked for: no further than the size
before leaves open, since hatching seen under a lamp from the other side looks as if it were moved by half of its period."""
STARTS = (1000, 250)
"""Longest sides at which the whole photo is first looked for on the other: fine, where edges are many, and coarse, where a turn
about the axis moves them little."""
OVERLAP = 0.15
"""Least share of the photo that both must show."""
RIGHT = 1.5
"""Pixels within which a patch lies right."""
FEWEST, MOST_BY_CHANCE = 80, 22.0
"""Patches that lie right at the end, and the height of the correlation of two photos' edges, one laid on the other, over its
standard deviation at all shifts, from which on they show the same. Hand-held photos of the bench's owl under lamps all round:
161 to 1246 and 16 to 88; where the second is flipped or turned upside down, 17 to 59 and 0 to 19. (The share of patches that
lie right says less: 0.43 to 0.83 and 0.35 to 0.59.)"""
NEAREST = 2
"""The earlier photos that a further one is aligned with: those whose edges are most alike."""
MOVED = 0.003
"""Longest sides of the photo from which on a camera counts as moved: 3 pixels at the size that is compared, where shading that
moves with the lamp leaves less than one; 12 pixels of a 12 MP photo."""
COMPARED = 1000
"""Longest side at which photos are compared for that."""
CLEAR = 16.0
"""Height of the best shift over the others, in their standard deviations, from which on it is believed: photos of one place
reach 27 to 90 under lamps at four places (the demo's owl, the lump of our tests), photos of something else 5 to 12."""


@record
class Aligned:
    """camera: of the further photo, at its whole size. right: patches that lie within RIGHT pixels. correlation: of
    the photos' edges, one laid on the other: its peak over its standard deviation at all shifts."""

    camera: PhotoCamera
    right: int
    correlation: float

    @property
    def holds(self) -> bool:
        """Whether the photo shows the same, and may be used."""
        return self.right >= FEWEST and self.correlation >= MOST_BY_CHANCE


def aligned(
    photo: Photograph,
    first: Photograph,
    camera: PhotoCamera,
    skin: Skin,
) -> Aligned | None:
    """The camera of `photo`; None where it shows nothing of the first. camera: of the first photo."""
    best: Aligned | None = None
    for start in _starts(photo, first, camera):
        found = _aligned_from(start, photo, first, camera, skin)
        if found is not None and (best is None or found.correlation > best.correlation):
            best = found
        if best is not None and best.holds:
            break
    return best


def _starts(photo: Photograph, first: Photograph, camera: PhotoCamera) -> Iterator[PhotoCamera]:
    """The first photo's camera, turned until its picture lies on the photo's as a whole."""
    for longest in STARTS:
        under, over = first.at(longest), photo.at(longest)
        if under.shape != over.shape:
            return
        (right, up), _ = _shift(_edges(under), _edges(over))
        pixels = camera.distance * under.shape[1] / camera.size[0]
        yield moved(camera, np.array([up / pixels, right / pixels, 0, 0, 0, 0, 0, 0]))


def _shift(under: Floats, over: Floats) -> tuple[tuple[int, int], float]:
    """((pixels right, up), height over chance) by which the edges (h, w) of a photo lie elsewhere than another's."""
    shape = tuple(2 * side for side in under.shape)
    window = np.sqrt(np.outer(*(np.hanning(side) for side in under.shape)))
    seen = [edges * window for edges in (under, over)]
    here, there = (np.fft.rfft2(edges, shape) for edges in seen)
    power = [np.fft.rfft2(edges**2, shape) for edges in seen]
    whole = np.fft.rfft2(np.ones(under.shape), shape)
    correlation, both, mine, theirs = (
        np.fft.irfft2(product, shape)
        for product in (here.conj() * there, whole.conj() * whole, power[0].conj() * whole, whole.conj() * power[1])
    )
    correlation = np.where(both > OVERLAP * under.size, correlation / np.sqrt(np.maximum(mine * theirs, 1e-12)), 0)
    peak = np.unravel_index(correlation.argmax(), shape)
    up, right = (int(at) - (int(at) > side // 2) * side for at, side in zip(peak, shape, strict=True))
    return (right, up), float(correlation.max() / max(float(correlation.std()), 1e-9))


def _aligned_from(start: PhotoCamera, photo: Photograph, first: Photograph, camera: PhotoCamera, skin: Skin) -> Aligned | None:
    """The camera of `photo` by patches, from coarse to fine."""
    own, right, seen = start, None, None
    for longest, reach in STEPS:
        under, over = first.at(longest), photo.at(longest)
        size = (under.shape[1], under.shape[0])
        here, there = camera.scaled(size), own.scaled(size)
        seen = look(skin, here)
        if seen is None:
            return None
        found = _matched_patches(under, over, seen, there, reach)
        if found is None:
            continue
        spread = 1.0
        for _ in range(3):
            there = resected(there, found, Prior(there.distance, 1.0), scale=spread, free=False)
            off = np.linalg.norm(errors(there, found), axis=1)
            spread = max(0.5, float(np.median(off)) / 1.18)
        far = np.linalg.norm(there.project(found.points)[0] - found.pixels, axis=1)
        own, right = there.scaled(photo.size), int((far < RIGHT).sum())
    return None if right is None or seen is None else Aligned(own, right, _correlation_of(under, over, seen, own.scaled(size)))


class Further:
    """Finds the cameras of a place's further photos by the earlier ones, for a hand-held camera or a tripod.

    Photos are given as pixels (h, w, 3) display-encoded, row 0 at the bottom, and the size of the whole photo where they were
    made smaller.
    """

    def __init__(self, pixels: Floats, camera: PhotoCamera, skin: Skin, size: tuple[int, int] | None = None):
        """pixels, size, camera: of the first photo; the camera at its whole size."""
        self.skin = skin
        self.known = [(photograph(pixels, size), camera)]

    def camera_of(self, pixels: Floats, size: tuple[int, int] | None = None) -> PhotoCamera | None:
        """The camera of a further photo, by the earlier photo that it agrees with best; None where it agrees with none."""
        seen = photograph(pixels, size)
        found = [aligned(seen, under, camera, self.skin) for under, camera in self._nearest(seen)]
        held = [entry for entry in found if entry is not None and entry.holds]
        if not held:
            return None
        best = max(held, key=lambda entry: entry.correlation)
        self.known.append((seen, best.camera))
        return best.camera

    def _nearest(self, photo: Photograph) -> list[tuple[Photograph, PhotoCamera]]:
        """The earlier photos that look most like a further one, and their cameras."""
        over = photo.at(COMPARED)
        peaks = [
            _shift(_edges(under.at(COMPARED)), _edges(over))[1] if under.at(COMPARED).shape == over.shape else 0.0
            for under, _ in self.known
        ]
        return [self.known[row] for row in np.argsort(peaks)[::-1][:NEAREST]]

    def moved_by(self, pixels: Floats, size: tuple[int, int] | None = None) -> float:
        """Shift in px of the piece in a photo that should be from the same place as the first; 0 for none."""
        under, _ = self.known[0]
        return moved_by(photograph(pixels, size), under)


def moved_by(photo: Photograph, first: Photograph) -> float:
    """Pixels of the whole photo by which it shows everything elsewhere than the first; 0 where that is little, or unsure.

    Compared are edges without their sign: a lamp on the other side swaps the bright and the dark flank of a stroke, which stays
    where it is.
    """
    under, other = first.at(COMPARED), photo.at(COMPARED)
    if under.shape != other.shape:
        return 0.0
    window = np.outer(*(np.hanning(side) for side in under.shape))
    seen, there = (np.fft.rfft2(_edges(level) * window) for level in (under, other))
    correlation = np.fft.irfft2(seen.conj() * there, under.shape)
    if correlation.max() - correlation.mean() < CLEAR * correlation.std():
        return 0.0
    best = np.array(np.unravel_index(correlation.argmax(), correlation.shape))
    shift = (best + np.array(under.shape) // 2) % under.shape - np.array(under.shape) // 2
    far = float(np.linalg.norm(shift)) * max(photo.size) / max(under.shape)
    return far if far > MOVED * max(photo.size) else 0.0


def _edges(level: Floats) -> Floats:
    """(h, w) strength of a grey photo's edges, the same in light and in shade, less its mean round about."""
    light = gaussian_blur(np.log(level + 0.05).astype(np.float32), 1.0)
    up, right = np.gradient(light)
    strength = np.hypot(up, right)
    even = strength / (gaussian_blur(strength, 12.0) + 1e-3)
    return np.asarray(even - gaussian_blur(even, 12.0))


def _warped(over: Floats, seen: Look, there: PhotoCamera) -> tuple[Floats, Bools, Floats]:
    """((h, w) the edges of a photo as a camera lays it over the first, (h, w) bool where it has any, (n, 2) its pixels)."""
    at, _ = there.project(seen.position)
    across, up = at[:, 0] - 0.5, there.size[1] - at[:, 1] - 0.5
    inside = (across >= 0) & (across <= there.size[0] - 1) & (up >= 0) & (up <= there.size[1] - 1)
    laid = seen.raster(np.where(inside, bilinear(_edges(over), across, up), 0).astype(np.float32))
    return laid, np.asarray(seen.raster(inside.astype(np.float32)) > 0), at


def _correlation_of(under: Floats, over: Floats, seen: Look, there: PhotoCamera) -> float:
    """The correlation of a photo's edges, laid over the first, with its: its peak over chance, 0 where that lies elsewhere."""
    laid, mask, _ = _warped(over, seen, there)
    shift, height = _shift(np.where(mask, _edges(under), 0), laid)
    return height if max(map(abs, shift)) <= 1 else 0.0


def _matched_patches(under: Floats, over: Floats, seen: Look, there: PhotoCamera, reach: int) -> Seen | None:
    """Where patches of the first photo lie on the further one, which a camera lays over the first."""
    laid, mask, at = _warped(over, seen, there)
    if mask.sum() < 400:
        return None
    shown = gaussian_blur(np.where(mask, _edges(under), 0).astype(np.float32), 0.5)
    row, column = patches.corners_of(shown, mask)
    if len(row) < FEWEST // 2:
        return None
    shifts = patches.matched(shown, mask, gaussian_blur(laid, 0.5), (row, column), reach, floor=patches.ON_PHOTO)
    kept = np.flatnonzero(shifts.correlation > 0)
    if len(kept) < FEWEST // 2:
        return None
    columns, rows = column[kept] + shifts.shift[kept, 0], row[kept] + shifts.shift[kept, 1]
    place = np.full(mask.size, -1)
    place[seen.index] = np.arange(len(seen.index))
    pixel = place[row[kept] * mask.shape[1] + column[kept]]
    landed = place[np.clip(np.rint(rows), 0, mask.shape[0] - 1).astype(int) * mask.shape[1]
                   + np.clip(np.rint(columns), 0, mask.shape[1] - 1).astype(int)]  # fmt: skip
    good = (pixel >= 0) & (landed >= 0)
    # the whole step lands on a pixel whose place on the further photo is known; what is left of it is the same on both, nearly
    rest = np.stack([columns - np.rint(columns), -(rows - np.rint(rows))], axis=1)[good]
    whiten = shifts.whiten[kept[good]] * np.array([[1.0, -1.0], [-1.0, 1.0]])
    return Seen(seen.position[pixel[good]].astype(float), at[landed[good]] + rest, whiten)
