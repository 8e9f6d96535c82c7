"""Are the cameras of photos found on the picture: from six clicks, by itself, and not where nothing can be right?"""

from __future__ import annotations

import io
import time
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from blender_addon.core.closeups.camera import PhotoCamera, angle_between
from blender_addon.core.closeups.placing.judging import judged, may_be_right
from blender_addon.core.closeups.placing.look import Skin
from blender_addon.core.closeups.placing.one_lens import ROUNDED, Sensor, joined
from blender_addon.core.closeups.placing.pictures import Photograph, photograph
from blender_addon.core.closeups.placing.refinement import Fit
from blender_addon.core.closeups.placing.search import View, found
from blender_addon.core.closeups.pose import Spots, pose_of
from blender_addon.core.closeups.seen import Form, faces_seen
from blender_addon.job.runner import finish
from blender_addon.job.step import Progress
from blender_addon.scene.surface.closeup_photos import Photo
from blender_addon.steps.surface._closeup_cameras import by_spots
from scripts.closeups.placed import FULL, OneLens, Placed

Floats = Any
CLICK = 2.0
"""Pixels that a click is off on a 12 MP photo."""
TURN_DEG, PLACE_PERCENT, TEXELS = 0.5, 1.0, 2.0
FOUND = 20.0
"""Texels of the scan up to which a camera's picture of the piece lies where the photo does."""


@dataclass
class Found:
    """Cameras that were found. Lists, one entry a photo: turn_deg, place_percent of the distance, texels (median of the points
    in view), sure, seconds; predicted_percent: what the place was said to be uncertain by."""

    turn_deg: list[float] = field(default_factory=list)
    place_percent: list[float] = field(default_factory=list)
    texels: list[float] = field(default_factory=list)
    sure: list[bool] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)
    predicted_percent: list[float] = field(default_factory=list)

    def add(
        self, camera: PhotoCamera | None, true: PhotoCamera, skin: Skin, start: float, *, sure: bool, predicted: float = np.inf
    ) -> None:
        """One more camera, the work on which began at `start` of the clock."""
        self.predicted_percent.append(predicted)
        self.seconds.append(time.perf_counter() - start)
        self.sure.append(sure)
        if camera is None:
            for values in (self.turn_deg, self.place_percent, self.texels):
                values.append(np.inf)
            return
        seen = np.unique(skin.form.faces[faces_seen(true, skin.form)])
        points = skin.form.vertices[seen]
        far = float(np.linalg.norm(points.mean(axis=0) - true.place))
        apart = np.linalg.norm(camera.scaled(true.size).project(points)[0] - true.project(points)[0], axis=1)
        self.turn_deg.append(angle_between(camera.rotation, true.rotation))
        self.place_percent.append(100.0 * float(np.linalg.norm(camera.place - true.place)) / far)
        self.texels.append(float(np.median(apart)) * far / true.distance / skin.texel_mm)

    @property
    def right(self) -> list[bool]:
        """Whether each has a turn within 0.5 degrees and a place within 1 % of the distance."""
        return [
            turn < TURN_DEG and place < PLACE_PERCENT for turn, place in zip(self.turn_deg, self.place_percent, strict=True)
        ]

    @property
    def success(self) -> float:
        return percent(self.right)

    @property
    def turned(self) -> float:
        return percent(turn < TURN_DEG for turn in self.turn_deg)

    @property
    def placed(self) -> float:
        """Percent that lay the piece within 2 texels of the scan."""
        return percent(texels <= TEXELS for texels in self.texels)

    @property
    def false_sure(self) -> float:
        return percent(sure and texels > TEXELS for sure, texels in zip(self.sure, self.texels, strict=True))

    @property
    def far_sure(self) -> float:
        """Percent that are called sure though turn or place is off, wherever the piece's points lie on the photo."""
        return percent(sure and not right for sure, right in zip(self.sure, self.right, strict=True))

    @property
    def right_asked(self) -> float:
        """Percent of the right ones that are asked about."""
        return percent(not sure for sure, right in zip(self.sure, self.right, strict=True) if right)

    @property
    def off_over_predicted(self) -> float:
        """Root mean square of how far places are off over what they were said to be uncertain by; 1 where that is right. Only
        of cameras that were found: one on another side of the piece has no small error."""
        rows = zip(self.place_percent, self.predicted_percent, self.texels, strict=True)
        ratios = [place / predicted for place, predicted, texels in rows if texels <= FOUND and np.isfinite(predicted)]
        return float(np.sqrt(np.mean(np.square(ratios)))) if ratios else 0.0


def together(answers: list[Found]) -> Found:
    """Cameras of several photos as one."""
    names = ("turn_deg", "place_percent", "texels", "sure", "seconds", "predicted_percent")
    return Found(*([value for answer in answers for value in getattr(answer, name)] for name in names))


def percent(answers: Any) -> float:
    """How many of some answers are true, in percent; 0 of none."""
    given = list(answers)
    return 100.0 * sum(given) / max(len(given), 1)


def pixels_of(placed: Placed) -> Floats:
    """(h, w, 3) the photo's pixels as the step reads them."""
    from PIL import Image

    return np.asarray(Image.open(io.BytesIO(placed.photo)).convert("RGB"))[::-1].astype(np.float32) / 255


def by_clicks(photo: Placed, number: int, skin: Skin) -> tuple[Found, Found]:
    """(by the clicks alone, as the step has it from clicks and picture); every other photo's file names a focal length."""
    alone, found_ones = Found(), Found()
    rng, start = np.random.default_rng((31, number)), time.perf_counter()
    camera, distance = photo.camera.scaled(FULL), None
    spots = clicked(camera, skin.form, rng)
    if number % 2:
        distance = camera.distance * float(np.exp(0.05 * rng.normal()))
    pose = pose_of(spots, FULL, distance=distance)
    alone.add(pose.camera, photo.camera, skin, start, sure=pose.verdict == "sure")
    step_photo = Photo(pixels_of(photo), FULL, distance)
    placed = finish(by_spots(step_photo, spots, skin, "1", Progress(0.0, "")))
    found_ones.add(placed.camera, photo.camera, skin, start, sure=placed.verdict == "sure")
    return alone, found_ones


def by_itself(photo: Placed, number: int, skin: Skin, looks: list[View]) -> Found:
    """A camera of which nothing is known; every other photo's file names a focal length."""
    cameras, start = Found(), time.perf_counter()
    rng = np.random.default_rng((32, number))
    distance = photo.camera.distance * float(np.exp(0.05 * rng.normal())) if number % 2 else None
    _add(cameras, *finish(found(photograph(pixels_of(photo)), skin, looks, distance)), photo, skin, start)
    return cameras


def of_one_lens(photos: list[Placed], lens: OneLens, skin: Skin, looks: list[View]) -> tuple[Found, Found]:
    """(each by itself, by their lens together) the cameras of photos whose files name the lens's focal length and sensor."""
    alone, by_lens, both, start = Found(), Found(), [], time.perf_counter()
    for photo in photos:
        both.append(finish(found(photograph(pixels_of(photo)), skin, looks, lens.focal * lens.named * photo.camera.size[0])))
        _add(alone, *both[-1], photo, skin, start)
    rows = [row for row, (best, other) in enumerate(both) if may_be_right(best, other)]
    fits = [best for best, other in both if best is not None and may_be_right(best, other)]
    better = dict(zip(rows, joined(fits, Sensor(lens.sensor_mm, ROUNDED * lens.sensor_mm)), strict=True))
    for row, (photo, (best, other)) in enumerate(zip(photos, both, strict=True)):
        _add(by_lens, better.get(row, best), other, photo, skin, start)
    return alone, by_lens


def _add(cameras: Found, best: Fit | None, other: Fit | None, photo: Placed, skin: Skin, start: float) -> None:
    """One more camera, as the step judges it."""
    camera, predicted = (best.camera, best.place_percent) if best else (None, np.inf)
    cameras.add(camera, photo.camera, skin, start, sure=judged(best, other)[0] == "sure", predicted=predicted)


def wrongly_sure(photo: Placed, skin: Skin, looks: list[View], *, mirrored: bool) -> bool:
    """Whether a photo that can't be right, as it is or mirrored, is called sure."""
    seen = photograph(pixels_of(photo))
    if mirrored:
        seen = Photograph(seen.size, [np.ascontiguousarray(level[:, ::-1]) for level in seen.levels])
    return judged(*finish(found(seen, skin, looks, None)))[0] == "sure"


def clicked(camera: PhotoCamera, form: Form, rng: Any) -> Spots:
    """Six points that a camera sees of a form, well apart, each marked a click's error off."""
    seen = np.unique(form.faces[faces_seen(camera, form)])
    pixels = camera.project(form.vertices[seen])[0]
    chosen = [int(rng.integers(len(seen)))]
    for _ in range(5):
        apart = np.min([np.linalg.norm(pixels - pixels[pixel], axis=1) for pixel in chosen], axis=0)
        chosen.append(int(np.argmax(apart * rng.uniform(0.6, 1.0, len(apart)))))
    off = CLICK * camera.size[0] / FULL[0] * rng.normal(size=(6, 2))
    return Spots(form.vertices[seen[chosen]], pixels[chosen] + off, form.normals[seen[chosen]])
