"""Brings a further photo, taken by hand near the first one's place with the same lens, onto the first one.

The first photo lies on the piece's form by its own camera, so that it can be seen from any place near by. Its patches, finer
than anything the scan has, are looked for on the further photo as the present camera lays it over the first; the lens stays,
turn and place are solved for.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from ...arrays import Bools, Floats
from ...rasters import bilinear
from ...records import record
from ...surface.bandpass import gaussian_blur
from ..camera import PhotoCamera
from . import patches
from .look import Look, Skin, look
from .pictures import Photograph
from .resection import Prior, Seen, errors, resected

STEPS = ((125, 13), (125, 8), (125, 4), (250, 3), (500, 3), (1000, 3), (1000, 3))
"""Longest side of the photos at each turn, and pixels round its place that a patch is looked for: no further than the size
before leaves open, since hatching seen under a lamp from the other side looks as if it were moved by half of its period."""
RIGHT = 1.5
"""Pixels within which a patch lies right."""
FEWEST, AGREES = 30, 0.6
"""Patches, and share of those found, that lie right at the end. Photos in place have 0.75 to 0.9 in our tests; hatching that
is taken half of its period aside, under a lamp from the other side, 0.54."""
COARSE = ((125, 13), (125, 8), (250, 3))
"""Turns that tell whether the camera moved at all."""
MOVED = 0.006
"""Longest sides of the photo from which on a camera counts as moved: 1.5 pixels of the coarse turns."""
FINE = ((500, 3), (500, 3))
"""Turns that tell whether it did: shading moves with the lamp, paint and fine edges only with the camera."""


@record
class Aligned:
    """camera: of the further photo, at its whole size. found, right: patches found, and those within RIGHT pixels."""

    camera: PhotoCamera
    found: int
    right: int

    @property
    def agreement(self) -> float:
        """Share of the patches found that lie right."""
        return self.right / max(self.found, 1)

    @property
    def holds(self) -> bool:
        """Whether so many patches agree that the photo may be used."""
        return self.right >= FEWEST and self.agreement >= AGREES


def aligned(
    photo: Photograph,
    first: Photograph,
    camera: PhotoCamera,
    skin: Skin,
    *,
    start: PhotoCamera | None = None,
    steps: Sequence[tuple[int, int]] = STEPS,
) -> Aligned | None:
    """The camera of `photo`; None where it shows nothing of the first. camera: of the first photo. start: where to begin, its
    place where it is None."""
    own, result = start or camera, None
    for longest, reach in steps:
        under, over = first.at(longest), photo.at(longest)
        size = (under.shape[1], under.shape[0])
        if over.shape != under.shape:
            return None
        here, there = camera.scaled(size), own.scaled(size)
        seen = look(skin, here)
        if seen is None:
            return None
        found = _found(under, over, seen, there, reach)
        if found is None:
            continue
        spread = 1.0
        for _ in range(3):
            there = resected(there, found, Prior(there.distance, 1.0), scale=spread, free=False)
            off = np.linalg.norm(errors(there, found), axis=1)
            spread = max(0.5, float(np.median(off)) / 1.18)
        far = np.linalg.norm(there.project(found.points)[0] - found.pixels, axis=1)
        own = there.scaled(photo.size)
        result = Aligned(own, len(far), int((far < RIGHT).sum()))
    return result


def moved_by(photo: Photograph, first: Photograph, camera: PhotoCamera, skin: Skin) -> float:
    """Pixels of the whole photo by which it shows the piece elsewhere than the first one; 0 where that is little, or unsure."""
    found = aligned(photo, first, camera, skin, steps=COARSE)
    if found is None or not found.holds or _apart(found.camera, camera, skin) <= MOVED * max(camera.size):
        return 0.0
    stays = aligned(photo, first, camera, skin, steps=FINE)
    goes = aligned(photo, first, camera, skin, start=found.camera, steps=FINE)
    if goes is None or (stays is not None and stays.right >= goes.right):
        return 0.0
    far = _apart(goes.camera, camera, skin)
    return far if far > MOVED * max(camera.size) else 0.0


def _apart(moved: PhotoCamera, camera: PhotoCamera, skin: Skin) -> float:
    """Median pixels between where two cameras show what one of them has in view of the piece."""
    points = skin.form.vertices
    at, depth = camera.project(points)
    inside = (depth > 0) & (at > 0).all(axis=1) & (at < camera.size).all(axis=1)
    if not inside.any():
        return 0.0
    return float(np.median(np.linalg.norm(moved.project(points[inside])[0] - at[inside], axis=1)))


def _found(under: Floats, over: Floats, seen: Look, there: PhotoCamera, reach: int) -> Seen | None:
    """Where patches of the first photo lie on the further one, which a camera lays over the first."""
    at, _ = there.project(seen.position)
    across, up = at[:, 0] - 0.5, there.size[1] - at[:, 1] - 0.5
    inside = (across >= 0) & (across <= there.size[0] - 1) & (up >= 0) & (up <= there.size[1] - 1)
    laid = seen.raster(np.where(inside, bilinear(over, across, up), 0).astype(np.float32))
    mask = _raster(seen, inside)
    if mask.sum() < 400:
        return None
    shown = gaussian_blur(np.where(mask, under, 0), 0.5)
    row, column = patches.corners_of(shown, mask)
    if len(row) < FEWEST // 2:
        return None
    shifts = patches.matched(shown, mask, gaussian_blur(laid, 0.5), (row, column), reach, floor=patches.ON_PHOTO)
    kept = np.flatnonzero(shifts.alike > 0)
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


def _raster(seen: Look, inside: Bools) -> Bools:
    return np.asarray(seen.raster(inside.astype(np.float32)) > 0)
