"""How near do close-ups come to the truth? Normals' errors, the finest detail that is right, and cameras by clicks."""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from blender_addon.core.closeups.camera import PhotoCamera
from blender_addon.core.closeups.checking import kept_photos
from blender_addon.core.closeups.photo_set import Kept, PhotoSet, Reading
from blender_addon.core.closeups.placing.alignment import Further
from blender_addon.core.closeups.placing.look import Skin
from blender_addon.core.closeups.pose import Spots, pose_of
from blender_addon.core.closeups.seen import Form, faces_seen
from blender_addon.core.generators import finish
from blender_addon.core.mesh.triangles import shading_normals, unit
from blender_addon.job.step import Progress
from blender_addon.scene.surface.closeup_photos import Photo
from blender_addon.steps.surface._closeup_cameras import by_spots
from scripts.closeups.cases import CloseupCase
from scripts.closeups.phone import Picture, developed
from scripts.closeups.placed import random_camera

from .._coherence import coherent_mm

Floats = Any


def pixels_of(data: bytes) -> Floats:
    """(h, w, 3) display-encoded, row 0 at the bottom, as the step hands them on."""
    from PIL import Image, ImageOps

    return np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(data))).convert("RGB"))[::-1].astype(np.float32) / 255


def read(photo_set: PhotoSet, kept: Kept) -> Reading:
    """What the photos of a set that count show."""
    reading: Reading = finish(photo_set.reading(keep=kept))
    return reading


@dataclass(frozen=True)
class Read:
    """A reading with the truth behind its pixels: true (n, 3) unit normals, counted (n,) bool."""

    reading: Reading
    true: Floats
    counted: Any

    def errors_deg(self, slope: Floats) -> Floats:
        """(n,) of the counted pixels."""
        found = unit(self.reading.normal - slope)[self.counted]
        return np.degrees(np.arccos(np.clip(np.einsum("ij,ij->i", found, self.true[self.counted]), -1, 1)))

    def cut_percent(self) -> tuple[float, float]:
        """(cut of the median error against the bare scan, the bare scan's median in degrees); no cut where nothing counts."""
        if not self.counted.any():
            return 0.0, 0.0
        bare = float(np.median(self.errors_deg(0 * self.reading.slope)))
        return 100 * (1 - float(np.median(self.errors_deg(self.reading.slope))) / bare), bare

    @property
    def covered_percent(self) -> float:
        """Share of the pixels that see the piece whose relief counts."""
        return 100.0 * float(self.counted.mean())

    def finest_mm(self) -> float:
        """The shortest wavelength at which slopes and truth are coherent by a half, 0 where they never are."""
        climb = np.maximum(np.einsum("ij,ij->i", self.true, self.reading.normal), 0.1)[:, None]
        true = self.reading.normal - self.true / climb
        return coherent_mm(self.reading.pixels, self.reading.slope, true, self.counted, self.reading.pixel_mm)


def of_case(
    case: CloseupCase, skin: Skin, lamps: Sequence[int], *, dark: bool, off_px: float, by_hand: bool = False
) -> tuple[Read | None, PhotoCamera]:
    """A case as the step reads it, and the camera by its spots, each `off_px` pixels off, refined on the picture; by_hand: each
    photo aligned. None where none of its photos is used, so that the scan's own form stays."""
    rng = np.random.default_rng(70)
    form = skin.form
    near = [int(np.argmin(np.linalg.norm(form.vertices - spot, axis=1))) for spot in case.spots]
    pixels = case.pixels + off_px * rng.normal(size=case.pixels.shape)
    first, size = pixels_of(case.photos[0]), case.cameras[0].size
    spots = Spots(case.spots, pixels, form.normals[near])
    camera = finish(by_spots(Photo(first, size, None), spots, skin, "1", Progress(0.0, ""))).camera
    photo_set = PhotoSet(form, camera)
    if dark:
        photo_set.add(pixels_of(case.room), lamp_off=True)
    hand = Further(first, camera, skin) if by_hand else None
    for row in lamps:
        own = hand.camera_of(pixels_of(case.photos[row])) if hand is not None and row else None
        if hand is None or own is not None or not row:
            photo_set.add(pixels_of(case.photos[row]), own)
    kept = kept_photos(photo_set, [f"lamp {row + 1}" for row in range(len(photo_set.values))])
    for reason in kept.aside:
        print(f"    {reason}", flush=True)
    if not kept.rows:
        return None, camera
    reading = read(photo_set, kept)
    # the truth is known where the true camera sees it: pixels are the photo's own, whatever camera was found
    true = case.normals[::-1].reshape(-1, 3)[reading.pixels.index]
    return Read(reading, true, (np.linalg.norm(true, axis=1) > 0.5) & (reading.weight > 0.5)), camera


def plate(speckle: float = 0.12) -> Read:
    """A flat plate of speckled albedo under four near lamps, by formula: whatever relief is read there is false."""
    size, lamps = (400, 300), np.array([[90.0, 20, 110], [-80, 60, 100], [10, -110, 120], [-40, -30, 140]])
    camera = PhotoCamera(np.diag([1.0, -1.0, -1.0]), np.array([0, 0, 150.0]), 150.0 / 0.02, 0.0, size)
    axis = np.linspace(-6, 6, 31)
    x, y = np.meshgrid(axis, axis)
    # a plate that is bent a little, so that its form says something of the lamps; its truth is the same form
    vertices = np.stack([x.ravel(), y.ravel(), 0.02 * (x**2 + y**2).ravel()], axis=1)
    place = np.arange(961).reshape(31, 31)
    a, b, c, d = place[:-1, :-1].ravel(), place[:-1, 1:].ravel(), place[1:, 1:].ravel(), place[1:, :-1].ravel()
    faces = np.concatenate([np.stack([a, b, c], 1), np.stack([a, c, d], 1)])
    photo_set = PhotoSet(Form(vertices, faces, shading_normals(vertices, faces)), camera)
    rng = np.random.default_rng(3)
    albedo = 0.5 * np.exp(speckle * rng.standard_normal(len(photo_set.pixels)))
    way = lamps - photo_set.position[:, None]
    far = np.linalg.norm(way, axis=2)
    light = np.maximum(np.einsum("nkc,nc->nk", way, photo_set.normal) / far, 0) * (120 / far) ** 2 + 0.05
    for k in range(len(lamps)):
        raster = photo_set.pixels.scatter((albedo * light[:, k]).astype(np.float32))[::-1]
        photo_set.add(pixels_of(developed(np.repeat(raster[..., None], 3, 2), Picture(), exposure=1.0, seed=k)))
    rows = list(range(len(lamps)))
    reading = read(photo_set, Kept(rows, photo_set.lamps(rows)))
    return Read(reading, photo_set.normal, reading.weight > 0.5)


PHONE = (4000, 3000)
"""Pixels of a phone's photo."""


def wrong_ones(form: Form, count: int = 20) -> float:
    """Percent of photos that can't be right (mirrored, spots of another place) that are called sure by their spots."""
    rng = np.random.default_rng(21)
    sure = 0
    for trial in range(count):
        small = random_camera(form, rng, whole=True)
        camera = replace(small, distance=small.distance * PHONE[0] / small.size[0], size=PHONE)
        seen = np.unique(form.faces[faces_seen(camera, form)])
        rows = rng.choice(seen, 6, replace=False)
        pixels = camera.project(form.vertices[rows])[0]
        pixels = pixels * (-1, 1) + (camera.size[0], 0) if trial % 2 else pixels[rng.permutation(6)]
        try:
            sure += pose_of(Spots(form.vertices[rows], pixels, form.normals[rows]), camera.size).verdict == "sure"
        except ValueError:
            continue
    return 100 * sure / count
