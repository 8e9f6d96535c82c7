"""Photos that a lens took without being zoomed share its focal length: which of them do, and what do they gain by it?

Alone, a photo hardly tells distance and focal length apart where it shows little depth. By the thin lens its image distance is
f (1 + m), with the magnification m that the camera itself implies, so that the focal length of the other photos tells it; what
a photo knows by itself and what the others say are joined by their variances (a Kalman filter's update: Kalman 1960).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from ...arrays import Floats, Ints
from ...records import record
from ..camera import FILM_DIAGONAL_MM, PhotoCamera, moved
from .refinement import Fit, Rests
from .resection import Prior, resected
from .uncertainty import uncertainty

FAR = 3.0
"""Standard deviations from the others' focal length at which a photo does not share it: 1 in 370 by chance."""
TIED, FOCUSED = 0.002, 0.07
"""Deviation of the log of a photo's image distance from that of a thin lens: always, and in that of 1 + m, since a lens is
focused some percent off the middle of what it shows. Guesses."""
MIDDLE = 0.1
"""Share of the points, those nearest to the photo's middle, on which the lens is taken to be focused; a guess."""
SENSOR = (15.0, 8.0)
"""The longest side of a sensor in mm where nothing is known, and its deviation: from a phone's 6 to the 36 of 35 mm film."""
ROUNDED = 0.04
"""Deviation of a sensor's size by the two focal lengths in a file, as a share of it: 26 mm are a rounded number. A guess."""
HELD = 1e-4
"""Deviation of the log of an image distance that is no longer solved for."""


@record
class Sensor:
    """The longest side of the sensor in mm, and its standard deviation."""

    longest_mm: float
    spread_mm: float


def sensor_by_film(focal_mm: float | None, focal_35mm: float | None, size: tuple[int, int]) -> Sensor:
    """By a lens's focal length and that of the same angle on 36 x 24 mm, None where not given; size: of the photo, pixels."""
    if focal_mm is None or focal_35mm is None:
        return Sensor(*SENSOR)
    longest = FILM_DIAGONAL_MM * focal_mm / focal_35mm * max(size) / float(np.hypot(*size))
    return Sensor(longest, ROUNDED * longest)


@record
class Focal:
    """What a photo says of its lens. log: of the focal length in longest sides of the photo, with its variance. enlarged: the
    log of 1 + m, its standard deviation `loose` from where the lens is focused and `sensor` from the sensor's size."""

    log: float
    variance: float
    enlarged: float = 0.0
    loose: float = 0.0
    sensor: float = 0.0


def focal_of(rests: Rests, sensor: Sensor) -> Focal:
    """What a photo alone says of its lens."""
    camera, points = rests.camera, rests.seen.points
    off = np.linalg.norm(rests.seen.pixels - 0.5 * np.array(camera.size), axis=1)
    middle = points[np.argsort(off, kind="stable")[: max(1, int(MIDDLE * len(points)))]]
    depth = max(float(np.median((middle - camera.place) @ camera.rotation[2])), 1e-6)
    larger = sensor.longest_mm * camera.distance / max(camera.size) / depth
    part, enlarged = larger / (1.0 + larger), float(np.log1p(larger))
    loose = float(np.hypot(TIED, FOCUSED * part))
    log = float(np.log(camera.distance / max(camera.size))) - enlarged
    return Focal(log, float(rests.covariance[6, 6]) + loose**2, enlarged, loose, part * sensor.spread_mm / sensor.longest_mm)


def sharing(found: Sequence[Focal]) -> Ints:
    """(k,) rows of the photos whose focal lengths agree.

    The one that is furthest off the mean of the others, each weighted by its variance, is left out until all of them agree
    (a chi-square test of each against the rest); empty where no two do.
    """
    rows = np.arange(len(found))
    while len(rows) > 1:
        off = [abs(_apart(found, int(row), rows[rows != row])) for row in rows]
        if max(off) <= FAR:
            return rows
        rows = np.delete(rows, int(np.argmax(off)))
    return rows[:0]


def _mean(found: Sequence[Focal], rows: Ints) -> tuple[float, float]:
    """The log of the focal length that photos say together, and its variance."""
    weight = np.array([1.0 / found[row].variance for row in rows])
    return float(weight @ [found[row].log for row in rows] / weight.sum()), float(1.0 / weight.sum())


def _apart(found: Sequence[Focal], row: int, others: Ints) -> float:
    """How far a photo's focal length is off that of others, in standard deviations."""
    mean, variance = _mean(found, others)
    return float((found[row].log - mean) / np.sqrt(found[row].variance + variance))


def joined(fits: Sequence[Fit], sensor: Sensor) -> list[Fit]:
    """The photos' cameras by what all of them show of their lens; those that don't share it as they were.

    fits: of photos of one lens, each found by itself. Where the photos differ by more than they say, each is also said to be
    less sure than it was.
    """
    rests = [fit.rests_on for fit in fits]
    known = [row for row, what in enumerate(rests) if what is not None and np.isfinite(what.covariance).all()]
    found = {row: focal_of(what, sensor) for row, what in enumerate(rests) if row in known and what is not None}
    focal = list(found.values())
    rows = sharing(focal)
    new = list(fits)
    if not len(rows):
        return new
    mean, _ = _mean(focal, rows)
    chi = sum((focal[row].log - mean) ** 2 / focal[row].variance for row in rows) / (len(rows) - 1)
    wider = max(1.0, chi)  # what they say is less sure where they differ by more than they say (Birge 1932)
    for row in rows:
        place, others = known[row], rows[rows != row]
        what = rests[place]
        assert what is not None
        image = _image_distance(focal, int(row), others, wider, max(what.camera.size))
        new[place] = _informed(fits[place], what, image, wider)
    return new


def _image_distance(found: Sequence[Focal], row: int, others: Ints, wider: float, longest: int) -> Prior:
    """What other photos say of a photo's image distance, in pixels of its `longest` side. wider: factor on variances."""
    mean, variance = _mean(found, others)
    mine = found[row]
    aside = mine.sensor - float(np.mean([found[other].sensor for other in others]))  # a wrong sensor is wrong for all alike
    spread = float(np.sqrt(wider * variance + mine.loose**2 + aside**2))
    return Prior(longest * float(np.exp(mean + mine.enlarged)), spread)


def _informed(fit: Fit, rests: Rests, known: Prior, wider: float) -> Fit:
    """A fit whose camera is known in its image distance. wider: factor on the variances of what it knows by itself."""
    covariance = wider * rests.covariance
    gain = covariance[:, 6] / (covariance[6, 6] + known.spread**2)
    step = float(gain[6]) * float(np.log(known.distance / rests.camera.distance))
    start = _dollied(rests.camera, rests.seen.points, step)
    camera = resected(start, rests.seen, Prior(start.distance, HELD), scale=rests.scale)
    covariance = covariance - np.outer(gain, covariance[6])
    off = uncertainty(camera, rests.seen, covariance)
    return replace(
        fit, camera=camera.scaled(fit.camera.size), shift_mm=off.shift * fit.worked_mm, turn_deg=off.turn_deg,
        place_percent=off.place_percent, rests_on=replace(rests, camera=camera, covariance=covariance),
    )  # fmt: skip


def _dollied(camera: PhotoCamera, points: Floats, step: float) -> PhotoCamera:
    """The camera with another image distance, from so much further away that it shows the points (n, 3) as large. step: of the
    log of the image distance."""
    depth = float(np.median((points - camera.place) @ camera.rotation[2]))
    return moved(camera, np.array([0.0, 0.0, 0.0, 0.0, 0.0, -depth * np.expm1(step), step, 0.0]))
