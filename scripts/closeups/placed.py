"""Photographs of a whole bench shape, or of a part of it, from random places under a lamp that the scan did not have."""

from __future__ import annotations

import ast
import hashlib
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from blender_addon.core.closeups.camera import PhotoCamera, turned
from blender_addon.core.mesh.triangles import unit
from blender_addon.core.rasters import bilinear
from scripts.truth.pieces.shape import Shape
from scripts.truth.scanner import CACHE, baked_shape

from .phone import Picture, developed
from .render import Lens, Studio

Floats = Any
SIZE = (1000, 750)
SIZES = {"whole": (2000, 1500), "part": SIZE}
"""Of the photos that are rendered; their cameras are those of 12 MP photos, made smaller until a pixel is as large as the
scan's texel on the whole piece, and smaller than that on a part."""
FULL = (4000, 3000)
SAMPLES = 8
FOCUS_OFF = 0.05
"""Deviation of the log of where a lens of a set is focused over where the surface in the photo's middle is: a guess."""


@dataclass(frozen=True)
class Placed:
    """One photo: JPEG bytes, and the true camera at the photo's size."""

    photo: bytes
    camera: PhotoCamera


@dataclass(frozen=True)
class OneLens:
    """The lens of a set of photos. focal: its focal length in widths of the photo. sensor_mm: width of the sensor. radial: its
    radial term. named: what the photos' files name for the focal length over what it is."""

    focal: float
    sensor_mm: float
    radial: float
    named: float


def lens_of(shape: str, number: int) -> OneLens:
    """The lens of a shape's set of photos."""
    return random_lens(np.random.default_rng((9, *shape.encode(), number)))


def random_lens(rng: Any) -> OneLens:
    """A phone's or a camera's lens: 27 to 108 mm as on 35 mm film, on a sensor of 7 to 24 mm (common practice)."""
    sensor = float(np.exp(rng.uniform(*np.log([7.0, 24.0]))))
    return OneLens(float(rng.uniform(0.75, 3.0)), sensor, float(0.01 * rng.normal()), float(np.exp(0.03 * rng.normal())))


def placed_photo(shape: str, kind: str, number: int, *, picture: Picture | None = None, lens: OneLens | None = None) -> Placed:
    """A photo of a shape, 'whole' or 'part' of it in view, by a lens of its own or a set's; from the cache or rendered now,
    5 s each."""
    truth = baked_shape(shape).truth
    rng = np.random.default_rng((7, kind == "whole", number))
    camera = random_camera(truth, rng, whole=kind == "whole", lens=lens).scaled(SIZES[kind])
    recipe = _recipe(truth, SIZES[kind], number if lens is None else (number, lens))
    path = CACHE / f"placed-{shape}-{kind}-{number}-{recipe}.npz"
    if not path.exists():
        keep(path, *_lit(Studio(truth), truth, camera, rng))
    with np.load(path) as kept:
        light, hit = kept["light"].astype(np.float32), kept["hit"]
    rng = np.random.default_rng((8, kind == "whole", number))
    light = np.where(hit[..., None], light, _backdrop(light.shape[:2], rng, float(np.quantile(light[hit], 0.7))))
    light = bent(light, camera)
    exposure = 0.75 / float(np.quantile(light, 0.99))
    return Placed(developed(light, picture or Picture(blur=0.5), exposure=exposure, seed=number), camera)


def random_camera(shape: Shape, rng: Any, *, whole: bool, lens: OneLens | None = None) -> PhotoCamera:
    """A phone's or a macro lens's camera from a random side, or one of a set's lens that is focused on the piece."""
    low, high = shape.vertices.min(axis=0), shape.vertices.max(axis=0)
    reach = float(np.linalg.norm(high - low))
    azimuth, tilt = rng.uniform(0, 2 * np.pi), np.radians(rng.uniform(-5, 50))
    back = np.array([np.sin(azimuth) * np.cos(tilt), -np.cos(azimuth) * np.cos(tilt), np.sin(tilt)])
    right = np.array([np.cos(azimuth), np.sin(azimuth), 0.0])
    rotation = turned(np.radians(4) * rng.normal(size=3)) @ np.stack([right, np.cross(-back, right), -back])
    distance = float(rng.uniform(0.75, 3.0)) * SIZE[0]
    wide = 1.5 * reach if whole else rng.uniform(0.3, 0.6) * reach
    target = (low + high) / 2
    if not whole:
        facing = np.flatnonzero(shape.normals @ back > 0.6)
        towards = shape.vertices[facing] @ back  # the nearest of those in a line, so that nothing stands before it
        across = shape.vertices[facing] - np.outer(towards, back)
        chosen = int(rng.integers(len(facing)))
        line = np.linalg.norm(across - across[chosen], axis=1) < 0.02 * reach
        target = shape.vertices[facing[np.flatnonzero(line)[np.argmax(towards[line])]]]
    radial = float(0.01 * rng.normal())
    if lens is not None:
        line = np.linalg.norm((shape.vertices - target) @ rotation[:2].T, axis=1) < 0.03 * reach
        nearer = float(np.max((target - shape.vertices[line]) @ rotation[2], initial=0.0))
        distance, radial = _focused(lens, wide, nearer, float(np.exp(FOCUS_OFF * rng.normal()))), lens.radial
    place = target - distance / SIZE[0] * wide * rotation[2]
    return PhotoCamera(rotation, place, distance, radial, SIZE)


def _focused(lens: OneLens, wide: float, nearer: float, off: float) -> float:
    """Image distance by v = f (1 + m) of a thin lens that is focused on the surface, which lies `nearer` mm before where the
    photo shows `wide` mm, times `off`."""
    distance = SIZE[0] * lens.focal
    for _ in range(50):
        focus = (distance / SIZE[0] * wide - nearer) * off
        distance = SIZE[0] * lens.focal * (1.0 + lens.sensor_mm * distance / SIZE[0] / focus)
    return distance


def _lit(studio: Studio, truth: Shape, camera: PhotoCamera, rng: Any) -> tuple[Floats, Floats]:
    """(h, w, 3) linear light and (h, w) bool where the piece is, by one lamp and the room, without the lens's bend."""
    target = truth.vertices[np.argmin(np.linalg.norm(np.cross(truth.vertices - camera.place, camera.rotation[2]), axis=1))]
    reach = float(np.linalg.norm(np.ptp(truth.vertices, axis=0)))
    turn, off = rng.uniform(0, 2 * np.pi), np.radians(rng.uniform(25, 65))
    right, down, look = camera.rotation
    way = np.sin(off) * (np.cos(turn) * right + np.sin(turn) * down) - np.cos(off) * look
    far = rng.uniform(1.2, 3.0) * reach
    studio.look(camera, Lens(0.0, 100.0))
    lit = studio.lit_by(target + far * unit(way), samples=SAMPLES) * (far / 100.0) ** 2
    room = studio.lit_by_room(samples=SAMPLES // 2)
    hit = np.linalg.norm(studio.normals(samples=1), axis=2) > 0.5
    return lit + rng.uniform(0.08, 0.3) * room, hit


def keep(path: Path, light: Floats, hit: Floats) -> None:
    """Store a photo and its mask by a file beside, so that a broken run leaves no half one. light: (h, w, 3). hit: (h, w)."""
    path.parent.mkdir(parents=True, exist_ok=True)
    np.savez_compressed(path.with_suffix(".part.npz"), light=light.astype(np.float16), hit=hit)
    path.with_suffix(".part.npz").replace(path)


def _backdrop(shape: tuple[int, int], rng: Any, level: float) -> Floats:
    """A cloth or a wall: a tone that falls off to one side, with blotches."""
    row, column = np.indices(shape) / max(shape)
    turn = rng.uniform(0, 2 * np.pi)
    tone = 1.0 + 0.5 * (np.cos(turn) * (column - 0.5) + np.sin(turn) * (row - 0.4))
    for _ in range(6):
        wave = rng.normal(size=2) * 14
        tone = tone + 0.04 * np.cos(wave[0] * column + wave[1] * row + rng.uniform(0, 6))
    colour = np.array([1.0, 1.0, 1.0]) + 0.1 * rng.normal(size=3)
    return (rng.uniform(0.1, 1.3) * level * tone[..., None] * colour).astype(np.float32)


def bent(light: Floats, camera: PhotoCamera) -> Floats:
    """The pinhole's picture as a lens with the camera's radial term shows it."""
    height, width = light.shape[:2]
    row, column = np.indices((height, width))
    pixels = np.stack([column.ravel() + 0.5, row.ravel() + 0.5], axis=1)
    ways = camera.bearings(pixels) @ camera.rotation.T
    x = camera.distance * ways[:, 0] / ways[:, 2] + 0.5 * width - 0.5
    y = camera.distance * ways[:, 1] / ways[:, 2] + 0.5 * height - 0.5
    planes = [bilinear(light[..., channel], x, y).reshape(height, width) for channel in range(3)]
    return np.stack(planes, axis=2).astype(np.float32)


def _recipe(truth: Shape, size: tuple[int, int], which: object) -> str:
    digest = hashlib.sha256(f"{size} {SAMPLES} {which} {truth.digest()}".encode())
    for name in ("placed", "render"):
        tree = ast.parse(Path(__file__).with_name(f"{name}.py").read_text(encoding="utf-8"))
        kept = ("random_camera", "random_lens", "_focused", "_lit", "Studio", "_matt", "_normals", "Lens")
        parts = [part for part in tree.body if getattr(part, "name", "") in kept]
        digest.update("".join(ast.dump(part) for part in parts).encode())
    return digest.hexdigest()[:12]
