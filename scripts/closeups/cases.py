"""Close-ups of a bench shape with what is true behind each pixel, from the cache or rendered now."""

from __future__ import annotations

import ast
import hashlib
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from blender_addon.core.closeups.camera import PhotoCamera, distance_by_film, turned
from blender_addon.core.mesh.triangles import TriangleMesh
from scripts.truth.pieces.shape import Shape
from scripts.truth.scanner import CACHE, baked_scan, baked_shape

from .fine import refined
from .phone import Picture, developed
from .render import Lens, Studio

Floats = Any

VIEWS = {
    # shape: (azimuth, tilt, mm the target lies up, mm to the right)
    "owl": (8.0, 12.0, 34.0, 0.0),
    "sharp": (-12.0, 20.0, 46.0, 2.0),
    "smooth": (0.0, 14.0, 30.0, 0.0),
}
LAMPS = 8


@dataclass(frozen=True)
class Setting:
    """How a close-up is taken. size: pixels. wide_mm: of the piece, across the picture. distance_mm: from the piece.
    aperture_mm: the lens's opening. depth: of the fine strokes. halvings: as `refined` has it. gloss. room: of the lamp's
    light. hand: whether it was held by hand."""

    size: tuple[int, int] = (640, 480)
    wide_mm: float = 12.8
    distance_mm: float = 180.0
    aperture_mm: float = 3.0
    depth: float = 1.0
    halvings: int = 2
    gloss: float = 0.0
    room: float = 0.08
    hand: bool = False
    samples: int = 16


MACRO = Setting(wide_mm=5.12, distance_mm=100.0, aperture_mm=6.0, halvings=3)
"""A macro lens at a ratio of 1:1: pixels of 0.008 mm, and an opening wide enough for diffraction to leave 0.06 mm: it ends at
the wavelength of light times distance over opening, 0.009 mm."""


@dataclass(frozen=True)
class CloseupCase:
    """photos: JPEG bytes, one a lamp. room: the same with the lamp off. scan: in mm, with UVs. cameras: the true one of each
    photo. lamps: (k, 3) mm. normals: (h, w, 3) true behind the first photo's pixels, row 0 at the top. spots, pixels: (s, 3) mm
    on the scan and (s, 2), without any error."""

    photos: list[bytes]
    room: bytes
    scan: TriangleMesh
    cameras: list[PhotoCamera]
    lamps: Floats
    normals: Floats
    spots: Floats
    pixels: Floats


def closeup_case(
    shape: str, setting: Setting | None = None, *, lamps: int = LAMPS, picture: Picture | None = None, seed: int = 0
) -> CloseupCase:
    """A case; the light is rendered once a shape and setting, the files are developed anew."""
    setting, picture = setting or Setting(), picture or Picture()
    truth = baked_shape(shape).truth
    light = _light(shape, truth, setting, lamps)
    cameras = [
        PhotoCamera(turn, place, light["distance"].item(), 0.0, setting.size)
        for turn, place in zip(light["turns"], light["places"], strict=True)
    ]
    rng = np.random.default_rng(seed + 40)
    strength = rng.uniform(0.8, 1.25, lamps)
    room = setting.room * light["room"]
    exposure = 0.75 / float(np.quantile(light["lit"][:, ::4, ::4] + room[::4, ::4], 0.995))
    focal = distance_by_film(1.0, setting.size)
    picture = replace(picture, focal_35mm=picture.focal_35mm and cameras[0].distance / focal * picture.focal_35mm)
    photos = [developed(strength[k] * light["lit"][k] + room, picture, exposure=exposure, seed=seed + k) for k in range(lamps)]
    dark = developed(room, picture, exposure=exposure, seed=seed + 90)
    scan = baked_scan(shape).scan
    spots, pixels = _spots(scan, cameras[0], rng)
    return CloseupCase(photos, dark, scan, cameras, light["lamps"], light["normals"], spots, pixels)


def camera_of(truth: Shape, name: str, setting: Setting) -> tuple[PhotoCamera, Floats]:
    """(camera, target (3,) mm) that looks at the view of that name."""
    azimuth, tilt, up, across = VIEWS[name]
    a, t = np.radians(azimuth), np.radians(tilt)
    towards = np.array([np.sin(a) * np.cos(t), -np.cos(a) * np.cos(t), np.sin(t)])  # front is -Y
    right = np.array([np.cos(a), np.sin(a), 0.0])
    off = truth.vertices - np.array([0, 0, up]) - across * right
    near = np.linalg.norm(off - (off @ towards)[:, None] * towards, axis=1) < 0.6
    target = truth.vertices[near][np.argmax(truth.vertices[near] @ towards)]
    down = np.cross(-towards, right)
    rotation = np.stack([right, down, -towards])
    distance = setting.distance_mm / setting.wide_mm * setting.size[0]
    return PhotoCamera(rotation, target + setting.distance_mm * towards, distance, 0.0, setting.size), target


def lamp_places(camera: PhotoCamera, target: Floats, count: int) -> Floats:
    """(count, 3) mm: round the lens at 110 to 170 mm, 35 to 62 degrees off its axis, on no regular grid."""
    rng = np.random.default_rng(5)
    turns = 2.39996 * np.arange(count) + 0.4 + rng.uniform(-0.25, 0.25, count)  # the golden angle: any first few are spread
    off, far = np.radians(rng.uniform(35, 62, count)), rng.uniform(110, 170, count)
    right, down, look = camera.rotation
    ways = np.sin(off)[:, None] * (np.cos(turns)[:, None] * right + np.sin(turns)[:, None] * down) - np.cos(off)[:, None] * look
    return target + far[:, None] * ways


def _light(shape: str, truth: Shape, setting: Setting, lamps: int) -> dict[str, Floats]:
    path = CACHE / f"closeup-{shape}-{_recipe(truth, setting, lamps)}.npz"
    if not path.exists():
        camera, target = camera_of(truth, shape, setting)
        rng = np.random.default_rng(9)
        cameras = [camera]
        for _ in range(lamps - 1):
            turn = turned(np.radians(0.5) * rng.normal(size=3)) if setting.hand else np.eye(3)
            place = camera.place + (1.5 * rng.normal(size=3) if setting.hand else 0.0)
            cameras.append(PhotoCamera(turn @ camera.rotation, place, camera.distance, 0.0, camera.size))
        fine = refined(truth, target, 0.72 * setting.wide_mm, depth=setting.depth, halvings=setting.halvings)
        studio = Studio(fine, gloss=setting.gloss)
        places = lamp_places(camera, target, lamps)
        lens = Lens(setting.aperture_mm, setting.distance_mm + 0.5)
        lit = []
        for pose, place in zip(cameras, places, strict=True):
            studio.look(pose, lens)
            lit.append(studio.lit_by(place, samples=setting.samples).astype(np.float16))
        studio.look(camera, lens)
        room, normals = studio.lit_by_room(samples=setting.samples), studio.normals()
        path.parent.mkdir(parents=True, exist_ok=True)
        np.savez_compressed(
            path.with_suffix(".part.npz"),
            lit=np.stack(lit), room=room, normals=normals.astype(np.float32), lamps=places, distance=camera.distance,
            turns=np.stack([pose.rotation for pose in cameras]), places=np.stack([pose.place for pose in cameras]),
        )  # fmt: skip
        path.with_suffix(".part.npz").replace(path)
    with np.load(path) as kept:
        found = {name: kept[name] for name in kept.files}
    found["lit"] = found["lit"].astype(np.float32)
    return found


def _recipe(truth: Shape, setting: Setting, lamps: int) -> str:
    digest = hashlib.sha256(f"{setting} {lamps} {VIEWS.get(truth.name)} {truth.digest()}".encode())
    for name in ("fine", "render"):
        tree = ast.parse(Path(__file__).with_name(f"{name}.py").read_text(encoding="utf-8"))
        tree.body = [part for part in tree.body if not isinstance(part, ast.Expr)]  # words about it don't count
        digest.update(ast.dump(tree).encode())
    return digest.hexdigest()[:12]


def _spots(scan: TriangleMesh, camera: PhotoCamera, rng: Any, count: int = 6) -> tuple[Floats, Floats]:
    """Spots of the scan that the camera sees, spread over the picture."""
    from blender_addon.core.closeups.seen import Form, faces_seen
    from blender_addon.core.mesh.triangles import shading_normals

    normals = shading_normals(scan.vertices.astype(float), scan.faces)
    seen = np.unique(scan.faces[faces_seen(camera, Form(scan.vertices, scan.faces, normals), margin=0.04)])
    pixels = camera.project(scan.vertices[seen])[0]
    chosen = [int(rng.integers(len(seen)))]
    for _ in range(count - 1):
        apart = np.min([np.linalg.norm(pixels - pixels[pixel], axis=1) for pixel in chosen], axis=0)
        chosen.append(int(np.argmax(apart * rng.uniform(0.7, 1.0, len(apart)))))
    return scan.vertices[seen[chosen]].astype(float), pixels[chosen]
