"""Are the cameras of photos found on the picture: from six clicks, by itself, and not where nothing can be right?"""

from __future__ import annotations

import io
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from blender_addon.core.closeups.camera import PhotoCamera, angle_between
from blender_addon.core.closeups.placing.judging import judged
from blender_addon.core.closeups.placing.look import Skin
from blender_addon.core.closeups.placing.pictures import Photograph, photograph
from blender_addon.core.closeups.placing.refinement import refined
from blender_addon.core.closeups.placing.resection import Prior, marked
from blender_addon.core.closeups.placing.search import View, found
from blender_addon.core.closeups.pose import KNOWN, UNKNOWN, USUAL, Spots, pose_of
from blender_addon.core.closeups.seen import Form, faces_seen
from blender_addon.job.runner import finish
from scripts.closeups.placed import FULL, Placed

Floats = Any
CLICK = 2.0
"""Pixels that a click is off on a 12 MP photo."""
TURN_DEG, PLACE_PERCENT, TEXELS = 0.5, 1.0, 2.0


@dataclass
class Found:
    """Cameras that were found. Lists, one entry a photo: turn_deg, place_percent of the distance, texels (median of the points
    in view), sure."""

    turn_deg: list[float] = field(default_factory=list)
    place_percent: list[float] = field(default_factory=list)
    texels: list[float] = field(default_factory=list)
    sure: list[bool] = field(default_factory=list)

    def add(self, camera: PhotoCamera | None, true: PhotoCamera, skin: Skin, *, sure: bool) -> None:
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
    def success(self) -> float:
        """Percent with a turn within 0.5 degrees and a place within 1 % of the distance."""
        return _percent(
            turn < TURN_DEG and place < PLACE_PERCENT for turn, place in zip(self.turn_deg, self.place_percent, strict=True)
        )

    @property
    def turned(self) -> float:
        return _percent(turn < TURN_DEG for turn in self.turn_deg)

    @property
    def placed(self) -> float:
        """Percent that lay the piece within 2 texels of the scan."""
        return _percent(texels <= TEXELS for texels in self.texels)

    @property
    def false_sure(self) -> float:
        return _percent(sure and texels > TEXELS for sure, texels in zip(self.sure, self.texels, strict=True))


def _percent(answers: Any) -> float:
    given = list(answers)
    return 100.0 * sum(given) / max(len(given), 1)


def seen_by(placed: Placed) -> Photograph:
    """The photo as the step reads it."""
    from PIL import Image

    pixels = np.asarray(Image.open(io.BytesIO(placed.photo)).convert("RGB"))[::-1].astype(np.float32) / 255
    return photograph(pixels)


def by_clicks(photos: list[Placed], skin: Skin) -> tuple[Found, Found]:
    """(by the clicks alone, refined on the picture); every other photo's file names a focal length."""
    alone, refined_ones = Found(), Found()
    for number, photo in enumerate(photos):
        rng = np.random.default_rng((31, number))
        spots, distance = clicked(photo.camera, skin.form, rng), None
        if number % 2:
            distance = photo.camera.distance * float(np.exp(0.05 * rng.normal()))
        click = CLICK * photo.camera.size[0] / FULL[0]
        pose = pose_of(spots, photo.camera.size, distance=distance, click=click)
        alone.add(pose.camera, photo.camera, skin, sure=pose.verdict == "sure")
        prior = Prior(distance, KNOWN) if distance else Prior(USUAL * max(photo.camera.size), UNKNOWN)
        clicks = marked(spots.points, spots.pixels, click)
        fit = refined(pose.camera, seen_by(photo), skin, prior, marked=clicks)
        sure = judged(fit)[0] == "sure"
        refined_ones.add(fit.camera if fit else pose.camera, photo.camera, skin, sure=sure)
    return alone, refined_ones


def by_itself(photos: list[Placed], skin: Skin, looks: list[View]) -> Found:
    """Cameras of which nothing is known; every other photo's file names a focal length."""
    cameras = Found()
    for number, photo in enumerate(photos):
        rng = np.random.default_rng((32, number))
        distance = photo.camera.distance * float(np.exp(0.05 * rng.normal())) if number % 2 else None
        best, other = finish(found(seen_by(photo), skin, looks, distance))
        cameras.add(best.camera if best else None, photo.camera, skin, sure=judged(best, other)[0] == "sure")
    return cameras


def wrongly_sure(photos: list[Placed], skin: Skin, looks: list[View], change: Callable[[Floats], Floats]) -> float:
    """Percent of photos that are called sure though they can't be right, as `change` makes them of each grey picture."""
    sure = []
    for photo in photos:
        seen = seen_by(photo)
        changed = Photograph(seen.size, [np.ascontiguousarray(change(level)) for level in seen.levels])
        sure.append(judged(*finish(found(changed, skin, looks, None)))[0] == "sure")
    return _percent(sure)


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
