"""Photos that a lens took without being zoomed share its focal length: which of them do, and what do they gain by it?

Alone, a photo hardly tells distance and focal length apart where it shows little depth. The focal length that other photos
show is therefore worth more than all that the photo itself says of it.
"""

from __future__ import annotations

from collections.abc import Generator, Sequence
from dataclasses import replace

import numpy as np

from ...arrays import Ints
from ...records import record
from .look import Skin
from .refinement import Fit, Rests
from .together import Lens, Shot, Solution, focal_of, solved_together
from .uncertainty import uncertainty_of

FAR = 3.0
"""Standard deviations from the others' focal length at which a photo does not share it: 1 in 370 by chance."""
LUMPS = 0.7
"""Standard deviation that the scan's lumps start with, in its texels; it is estimated from the photos. A guess."""


@record
class Focal:
    """What a photo alone says of its lens: log of the focal length in longest sides of the photo, and its variance."""

    log: float
    variance: float


def sharing(found: Sequence[Focal]) -> Ints:
    """(k,) rows of the photos whose focal lengths agree.

    The one that is furthest off the mean of the others, each weighted by its variance, is left out until all of them agree
    (a chi-square test of each against the rest); empty where no two do.
    """
    values, variances = (np.array([getattr(each, name) for each in found]) for name in ("log", "variance"))
    rows = np.arange(len(found))
    while len(rows) > 1:
        weight = 1.0 / variances[rows]
        others = weight.sum() - weight
        mean = ((weight * values[rows]).sum() - weight * values[rows]) / others
        off = np.abs(values[rows] - mean) / np.sqrt(1.0 / weight + 1.0 / others)
        if off.max() <= FAR:
            return rows
        rows = np.delete(rows, int(off.argmax()))
    return rows[:0]


def joined(fits: Sequence[Fit], lens: Lens, skin: Skin) -> Generator[float, None, list[Fit]]:
    """The photos' cameras by what all of them show of their lens; those that don't share it, or gain nothing, as they were.

    Yields the fraction done. fits: of photos that lie right, each found by itself. lens: what is known of it beforehand.
    """
    shots = [_shot(fit.rests_on) for fit in fits if fit.rests_on is not None]
    if len(shots) < max(2, len(fits)):
        return list(fits)
    lump, alone = LUMPS * skin.texel_mm, list[Focal]()
    for number, shot in enumerate(shots):
        alone.append(_focal(shot, solved_together([shot], skin.reach, lump), lens))
        yield 0.5 * (number + 1) / len(shots)
    rows = sharing(alone)
    if not len(rows):
        return list(fits)
    solution = solved_together([replace(shots[row], lens=True) for row in rows], skin.reach, lump, lens)
    yield 1.0
    new = list(fits)
    for place, row in enumerate(rows):
        fit = _changed(fits[row], shots[row], solution, place)
        if fit.place_percent < fits[row].place_percent:
            new[row] = fit
    return new


def _shot(rests: Rests) -> Shot:
    return Shot(rests.camera, rests.seen, rests.prior, rests.scale)


def _focal(shot: Shot, alone: Solution, lens: Lens) -> Focal:
    """What a photo says of the lens, by its camera alone."""
    log, spread = focal_of(alone.cameras[0], shot.seen, lens)
    return Focal(log, float(alone.covariance[0, 6, 6]) + spread**2)


def _changed(fit: Fit, shot: Shot, solution: Solution, place: int) -> Fit:
    """The fit with the camera of a solution's photo at `place`, and how far that may be off."""
    camera = solution.cameras[place]
    off = uncertainty_of(camera, shot.seen, solution.covariance[place])
    return replace(
        fit, camera=camera.scaled(fit.camera.size), shift_mm=off.shift * fit.worked_mm, turn_deg=off.turn_deg,
        place_percent=off.place_percent, rests_on=Rests(camera, shot.seen, solution.scales[place], shot.prior),
    )  # fmt: skip
