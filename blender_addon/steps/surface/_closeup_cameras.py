"""Finds the cameras of close-up photos: by marked points refined on the picture, automatically, or per hand-held photo."""

from __future__ import annotations

from collections.abc import Generator, Sequence
from functools import partial

import numpy as np

from ...core.arrays import Floats
from ...core.closeups.camera import PhotoCamera
from ...core.closeups.placing.judging import judged, may_be_right
from ...core.closeups.placing.look import Skin
from ...core.closeups.placing.one_lens import Sensor, joined
from ...core.closeups.placing.pictures import photograph
from ...core.closeups.placing.refinement import Fit, refined
from ...core.closeups.placing.resection import Prior, marked
from ...core.closeups.placing.search import Search, found, views
from ...core.closeups.pose import KNOWN, UNKNOWN, USUAL, Pose, Spots, pose_of
from ...core.generators import passed_on
from ...core.records import record
from ...job.errors import InputError
from ...job.files.aside import aside, aside_steps
from ...job.step import Progress
from ...scene.surface.closeup_photos import Photo

SPOTS_OFF = 8.0
"""Largest median deviation of the points for the camera refined on the picture, in standard deviations of a click."""
FEWEST_ASKED = 60
"""The fewest patches with contrast for which the picture can confirm or contradict the points."""


@record
class Placed:
    """A place's camera, at the full photo's size.

    verdict: 'sure', 'not sure' or 'no fit'. why: the reason for the latter two. evidence: sentences. spots_off: median
    deviation of the points in px, None without points. by_itself: what was found without points, and the next best.
    """

    camera: PhotoCamera
    verdict: str
    why: str
    evidence: tuple[str, ...]
    spots_off: float | None = None
    by_itself: tuple[Fit, Fit | None] | None = None


@record
class Alone:
    """A photo's camera as it was found alone, and what its file says of its lens, as a Photo has it."""

    placed: Placed
    optics: str
    sensor: Sensor


def by_spots(photo: Photo, spots: Spots, skin: Skin, name: str, solving: Progress) -> Generator[Progress, None, Placed]:
    """The camera by marked points, refined on the picture where that has enough contrast."""
    try:
        pose: Pose = yield from aside(partial(pose_of, spots, photo.size, distance=photo.distance), solving)
    except ValueError as error:
        raise InputError(f'The spots of place "{name}" give no camera: {error}') from None
    off = float(np.median(pose.off))
    said = f"{len(pose.off)} spots, {off:.1f} pixels off"
    if pose.verdict == "no fit":
        return Placed(pose.camera, "no fit", pose.why, (said, pose.why), off)
    seen = photograph(photo.pixels, photo.size)
    clicks = marked(spots.points, spots.pixels, pose.click)
    refining = partial(refined, pose.camera, seen, skin, _prior(photo, pose), marked=clicks)
    fit: Fit | None = yield from aside(refining, solving)
    return _weighed(pose, fit, spots, said)


def _weighed(pose: Pose, fit: Fit | None, spots: Spots, said: str) -> Placed:
    """The camera refined on the picture if it is plausible and agrees with the points; else the camera by the points."""
    off = float(np.median(pose.off))
    verdict, why = judged(fit)
    if fit is not None and verdict != "no fit":
        apart = np.linalg.norm(fit.camera.project(spots.points)[0] - spots.pixels, axis=1)
        on_picture = float(np.median(apart))
        said = f"{len(apart)} spots, {on_picture:.1f} pixels off"
        parts = f"{fit.right} of {fit.found} small parts of the piece lie where they should on the picture"
        if on_picture > SPOTS_OFF * pose.click:
            return Placed(
                pose.camera,
                "not sure",
                "spots and picture give two cameras: look whether the spots are the same",
                (said, parts),
                off,
            )
        if verdict == "not sure" and pose.verdict == "sure":  # two witnesses that know nothing of each other agree
            return Placed(fit.camera, "sure", "", (said, parts), on_picture)
        return Placed(fit.camera, verdict, why, (said, parts, *([why] if why else [])), on_picture)
    evidence = (said, f"turn known to {pose.turn_deg:.1f} deg, the piece's points to {pose.shift:.0f} pixels")
    if fit is not None and fit.asked >= FEWEST_ASKED and pose.verdict == "sure":
        why = "the picture does not show there what the scan has: is it this piece, and are the spots the same?"
        return Placed(pose.camera, "not sure", why, (*evidence, why), off)
    return Placed(pose.camera, pose.verdict, pose.why, (*evidence, *([pose.why] if pose.why else [])), off)


def by_itself(photo: Photo, skin: Skin, share: tuple[float, float], words: str) -> Generator[Progress, None, Placed | None]:
    """The camera of a photo without marked points; None where nothing fits.

    share: (start, length) of the step's progress, 0 to 1. words: what is said meanwhile.
    """
    start, width = share
    looking = Progress(start, words)
    looks = yield from aside(partial(views, skin), looking)
    seen = photograph(photo.pixels, photo.size)
    best: Fit | None
    best, other = yield from aside_steps(
        _stepped(found(seen, skin, looks, photo.distance), words), lambda part, text: Progress(start + width * part, text)
    )
    return None if best is None else _found(best, other)


def _found(best: Fit, other: Fit | None, *more: str) -> Placed:
    """A camera that was found without points. more: evidence."""
    verdict, why = judged(best, other)
    parts = f"{best.right} of {best.found} small parts of the piece lie where they should on the picture"
    evidence = ("found without spots", parts, *more, *([why] if why else []))
    return Placed(best.camera, verdict, why, evidence, by_itself=(best, other))


def by_their_lens(photos: Sequence[Alone], progress: Progress) -> Generator[Progress, None, list[Placed]]:
    """The cameras of all photos, those without points by what the photos of one lens show of it together."""
    placed = [photo.placed for photo in photos]
    groups: dict[str, list[tuple[int, Fit, Fit | None]]] = {}
    for row, photo in enumerate(photos):
        if photo.optics and photo.placed.by_itself and may_be_right(*photo.placed.by_itself):
            groups.setdefault(photo.optics, []).append((row, *photo.placed.by_itself))
    for group in groups.values():
        sensor = photos[group[0][0]].sensor
        joining = partial(joined, [fit for _, fit, _ in group], sensor)
        new: list[Fit] = yield from aside(joining, progress)
        for (row, fit, other), better in zip(group, new, strict=True):
            if better is not fit:
                placed[row] = _found(better, other, f"its lens by {len(group)} photos that it took")
    return placed


def nowhere(skin: Skin, photo: Photo) -> Placed:
    """The result for a photo that does not show the piece, with a placeholder camera that is not used."""
    _, why = judged(None)
    far = 3.0 * skin.reach
    look = np.array([[1.0, 0.0, 0.0], [0.0, 0.0, -1.0], [0.0, 1.0, 0.0]])
    camera = PhotoCamera(look, skin.middle - far * look[2], USUAL * max(photo.size), 0.0, photo.size)
    return Placed(camera, "no fit", why, (why,))


def _stepped(work: Search, words: str) -> Generator[tuple[float, str], None, tuple[Fit | None, Fit | None]]:
    return (yield from passed_on(work, lambda part: (part, words)))


def _prior(photo: Photo, pose: Pose) -> Prior:
    if photo.distance is not None and abs(np.log(pose.camera.distance / photo.distance)) < 0.5:
        return Prior(photo.distance, KNOWN)
    return Prior(USUAL * max(photo.size), UNKNOWN)


def small(photo: Floats, camera: PhotoCamera) -> PhotoCamera:
    """The camera scaled to a photo (h, w, 3) at its working size."""
    return camera.scaled((photo.shape[1], photo.shape[0]))
