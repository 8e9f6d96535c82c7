"""From where was a photograph taken, by spots marked on it and on the piece, and how sure is that?

A robust start (three points for many image distances; six and more also by the direct linear transformation), then least
squares over turn, place, image distance and radial term by Levenberg-Marquardt steps with Cauchy weights, so that one misplaced
spot moves the camera little and is detected.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

import numpy as np

from ..arrays import Floats
from ..records import record
from .camera import PhotoCamera, moved
from .direct_linear import camera_of_many
from .three_points import places_of_three

FEWEST = 4
"""Three spots leave up to four cameras open; the fourth decides."""
SHORTEST, LONGEST = 0.5, 9.0
"""Image distances that are tried, in longest sides of the photo: from an ultra-wide phone lens (common practice: 13 mm at 35 mm
film) to a tele at 1:1 or a photo that was cropped."""
CLICK = 1.0 / 2000.0
"""Longest sides of the photo that a careful click is off, standard deviation (2 pixels of a 12 MP photo), at least LEAST_CLICK
pixels: our guess, as on the bench."""
LEAST_CLICK = 0.75
"""Pixels that a click is off at least: it marks a whole pixel."""
KNOWN, UNKNOWN = 0.25, 1.0
"""Standard deviation of the log of the image distance where the photo's file names a focal length, and where it does not. A
macro lens at 1:1 holds the image at twice its focal length, two standard deviations and more, and Cauchy's weight lets it."""
USUAL = 1.5
"""Image distance in longest sides where nothing is known: between a phone and a macro lens; a guess."""
RADIAL = 0.03
"""Standard deviation of the radial term; 3 % at the corner is what a lens without correction shows (common practice)."""
WIDER = 1.5
"""How far from the spots' middle, over their own extent, points lie at which the camera's error is evaluated."""
MOST_TURN, MOST_SHIFT = 4.0, 0.01
"""Largest uncertainty of a sure camera: its turn in degrees, and a shift in longest sides of the photo. A guess."""
STARTS = 8
"""Cameras that are refined, the best of all that three spots give: a guess."""
MOST_TRIPLES = 60
"""Triples of spots that are tried at most, to bound the time."""


@record
class Pose:
    """A camera that was solved for, and how far to believe it.

    camera. off: (n,) pixels that each spot lies off. turn_deg: standard error of its turn. place_percent: of its place, in
    percent of the distance to the spots; large for a flat part seen by a long lens, which does no harm. shift: the largest
    uncertainty in pixels of points round the spots. click: pixels that a spot is off. verdict: 'sure', 'not sure' or 'no fit';
    why: the words for the latter two.
    """

    camera: PhotoCamera
    off: Floats
    turn_deg: float
    place_percent: float
    shift: float
    click: float
    verdict: str
    why: str = ""


@record
class Spots:
    """What was marked: points (n, 3) mm on the piece, their outward unit normals (n, 3) or None, pixels (n, 2) of the photo."""

    points: Floats
    pixels: Floats
    normals: Floats | None = None


def pose_of(spots: Spots, size: tuple[int, int], *, distance: float | None = None, click: float | None = None) -> Pose:
    """The camera that sees the spots.

    distance: image distance in pixels as the photo's file names it. click: pixels that a spot is off, None for what is usual.
    size: (width, height) of the photo in pixels.

    Raises ValueError, with words for the user, for fewer than four spots or spots on one line.
    """
    _check(spots)
    click = max(LEAST_CLICK, CLICK * max(size)) if click is None else click
    best = _fitted(spots, size, distance, click)
    if best is None:
        raise ValueError("no camera sees the spots where they are marked: each spot must be the same on photo and piece")
    return _judged(best, spots, size, distance, click)


def _check(spots: Spots) -> None:
    if len(spots.points) < FEWEST:
        raise ValueError(f"{len(spots.points)} spots are marked; mark {FEWEST} or more, six are better")
    wide = np.linalg.svd(spots.points - spots.points.mean(axis=0), compute_uv=False)
    if wide[1] < 0.02 * wide[0] or np.linalg.svd(spots.pixels - spots.pixels.mean(axis=0), compute_uv=False)[1] < 1.0:
        raise ValueError("the spots lie on one line, which leaves the camera free to turn about it: mark one off the line")


def _fitted(spots: Spots, size: tuple[int, int], distance: float | None, click: float) -> PhotoCamera | None:
    """The camera of least cost, refined from the best starts."""
    starts = sorted(_starts(spots, size, distance), key=lambda start: _start_cost(start, spots, click))[: 2 * STARTS]
    found: list[tuple[float, PhotoCamera]] = []
    for start in starts[:STARTS]:
        camera = refined(start, spots, distance=distance, click=click)
        if _looks_at(camera, spots):
            found.append((_cost(camera, spots, distance, click), camera))
    return min(found, key=lambda solution: solution[0])[1] if found else None


def _starts(spots: Spots, size: tuple[int, int], distance: float | None) -> Iterator[PhotoCamera]:
    longest = max(size)
    ways = [longest * factor for factor in np.geomspace(SHORTEST, LONGEST, 10)]
    if distance is not None:
        ways += [distance, 1.25 * distance, 1.6 * distance]
    if len(spots.points) >= 6:
        linear = camera_of_many(spots.points, spots.pixels, size)
        if linear is not None and SHORTEST / 2 < linear.distance / longest < 2 * LONGEST and _looks_at(linear, spots):
            yield linear
    for triple in _triples(spots):
        for way in ways:
            plain = PhotoCamera(np.eye(3), np.zeros(3), way, 0.0, size)
            for rotation, place in places_of_three(spots.points[triple], plain.bearings(spots.pixels[triple])):
                camera = PhotoCamera(rotation, place, way, 0.0, size)
                if _looks_at(camera, spots):
                    yield camera


def _triples(spots: Spots) -> list[list[int]]:
    """Triples of spots, those that span the largest triangles first."""
    every = [list(triple) for triple in combinations(range(len(spots.points)), 3)]

    def span(triple: list[int]) -> float:
        a, b, c = spots.pixels[triple]
        return -abs(float((b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])))

    chosen = sorted(every, key=span)
    return chosen[:: max(1, len(chosen) // MOST_TRIPLES)][:MOST_TRIPLES]


def _looks_at(camera: PhotoCamera, spots: Spots) -> bool:
    """Whether the spots lie before the camera and most of them show it their outer side."""
    ahead = spots.points - camera.place
    if (ahead @ camera.rotation[2] <= 0).any():
        return False
    if spots.normals is None:
        return True
    facing = np.einsum("ij,ij->i", ahead, spots.normals) < 0.17 * np.linalg.norm(ahead, axis=1)  # a normal may be 10 deg off
    return bool(facing.mean() >= 0.75)


def _start_cost(camera: PhotoCamera, spots: Spots, click: float) -> float:
    off = np.linalg.norm(camera.project(spots.points)[0] - spots.pixels, axis=1) / (4 * click)
    return float(np.log1p(off * off).sum())


def _prior(distance: float | None, size: tuple[int, int]) -> tuple[float, float]:
    """(expected image distance, standard deviation of its log)."""
    return (distance, KNOWN) if distance is not None else (USUAL * max(size), UNKNOWN)


def _cost(camera: PhotoCamera, spots: Spots, distance: float | None, click: float) -> float:
    off = _residuals(camera, spots, click)
    expected, spread = _prior(distance, camera.size)
    far = np.log(camera.distance / expected) / spread
    return float(
        np.log1p(np.sum(off.reshape(-1, 2) ** 2, axis=1) / 4).sum() * 4 + np.log1p(far**2) + (camera.radial / RADIAL) ** 2
    )


def _residuals(camera: PhotoCamera, spots: Spots, click: float) -> Floats:
    return np.asarray((camera.project(spots.points)[0] - spots.pixels) / click).reshape(-1)


def jacobian(camera: PhotoCamera, points: Floats) -> Floats:
    """(2 n, 8) change of the pixels by `moved`'s steps, by central differences."""
    columns = []
    far = float(np.linalg.norm(points.mean(axis=0) - camera.place))
    for place, size in enumerate([1e-6] * 3 + [1e-6 * far] * 3 + [1e-6, 1e-6]):
        step = np.zeros(8)
        step[place] = size
        ahead, behind = (moved(camera, way * step).project(points)[0] for way in (1, -1))
        columns.append((ahead - behind).reshape(-1) / (2 * size))
    return np.stack(columns, axis=1)


def refined(
    start: PhotoCamera, spots: Spots, *, distance: float | None, click: float, free: bool = True, rounds: int = 40
) -> PhotoCamera:
    """The camera of least cost near `start`.

    free: image distance and radial term change too. click: pixels that a spot is off, standard deviation. rounds: of
    Levenberg-Marquardt, at most.
    """
    camera, damping = start, 1e-3
    expected, spread = _prior(distance, start.size)
    cost = _cost(camera, spots, distance, click)
    for _ in range(rounds):
        off = _residuals(camera, spots, click)
        weight = np.repeat(1.0 / (1.0 + np.sum(off.reshape(-1, 2) ** 2, axis=1) / 4), 2)
        change = jacobian(camera, spots.points) / click
        far = np.log(camera.distance / expected) / spread
        own = np.array([0.0] * 6 + [1 / spread**2 / (1 + far**2), 1 / RADIAL**2])
        gradient = np.array([0.0] * 6 + [far / spread / (1 + far**2), camera.radial / RADIAL**2])
        normal = (change * weight[:, None]).T @ change + np.diag(own)
        slope = change.T @ (weight * off) + gradient
        if not free:
            normal[6:], normal[:, 6:], slope[6:] = 0, 0, 0
            normal[[6, 7], [6, 7]] = 1
        step = -np.linalg.solve(normal + damping * np.diag(np.diag(normal) + 1e-12), slope)
        if not np.isfinite(step).all() or np.abs(step[6]) > 1 or np.linalg.norm(step[:3]) > 1:
            step = step / max(1.0, float(np.abs(step[6])), float(np.linalg.norm(step[:3])))
        trial = moved(camera, step)
        new = _cost(trial, spots, distance, click)
        if new < cost and (trial.project(spots.points)[1] > 0).all():
            done = cost - new < 1e-9 * (1 + cost)
            camera, cost, damping = trial, new, max(damping / 5, 1e-9)
            if done:
                break
        else:
            damping *= 6
            if damping > 1e8:
                break
    return camera


def _judged(camera: PhotoCamera, spots: Spots, size: tuple[int, int], distance: float | None, click: float) -> Pose:
    off = np.linalg.norm(camera.project(spots.points)[0] - spots.pixels, axis=1)
    spread = max(click, float(np.median(off)) * 1.2)
    change = jacobian(camera, spots.points) / spread
    known = _prior(distance, size)[1]
    errors = np.linalg.pinv(change.T @ change + np.diag([0.0] * 6 + [1 / known**2, 1 / RADIAL**2]))
    middle = spots.points.mean(axis=0)
    far = float(np.linalg.norm(middle - camera.place))
    turn = float(np.degrees(np.sqrt(np.trace(errors[:3, :3]))))
    place = 100.0 * float(np.sqrt(np.trace(errors[3:6, 3:6]))) / far
    wider = jacobian(camera, middle + WIDER * (spots.points - middle))
    shift = float(np.sqrt(np.einsum("ni,ij,nj->n", wider, errors, wider).max()))

    def pose(verdict: str, why: str = "") -> Pose:
        return Pose(camera, off, turn, place, shift, click, verdict, why)

    wrong = off > 6 * spread
    if wrong.any() or float(np.median(off)) > 8 * click:
        if _mirrored(spots, size, distance, click) < max(4 * click, 0.1 * float(off.max())):
            return pose("no fit", "the photo is mirrored: save it the right way round")
        if wrong.mean() > 0.25 or float(np.median(off)) > 8 * click:
            return pose(
                "no fit", f"the spots lie up to {off.max():.0f} pixels off: is it another piece, or are spots set wrong?"
            )
        which = ", ".join(str(index + 1) for index in np.flatnonzero(wrong))
        return pose("not sure", f"spot {which} lies {off[wrong].max():.0f} pixels off: set it again")
    if len(off) < 5:
        return pose("not sure", "four spots leave nothing over to check them by: mark two more")
    if turn > MOST_TURN or shift > MOST_SHIFT * max(size):
        return pose("not sure", "the spots lie too close together: spread them over the photo")
    return pose("sure")


def _mirrored(spots: Spots, size: tuple[int, int], distance: float | None, click: float) -> float:
    """The most pixels that a spot is off when the photo is turned left for right."""
    swapped = replace(spots, pixels=spots.pixels * (-1, 1) + (size[0], 0))
    camera = _fitted(swapped, size, distance, click)
    if camera is None:
        return float("inf")
    return float(np.linalg.norm(camera.project(spots.points)[0] - swapped.pixels, axis=1).max())
