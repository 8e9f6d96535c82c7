"""Measures the light on the subject by a small render of a grey card, or of the piece itself, in a temporary scene."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix, Vector

from ...core.arrays import Bools, Floats
from ...core.dressing.exposure import GREY
from ...core.records import record
from ...core.srgb import luminance
from ..compat import set_media
from ..meshes import MM
from ..shots.lens_drivers import RESOLUTION
from .lights import flat_object, matt_material

PIXELS = 12
SAMPLES = 192
CARD_MM = 30.0
"""Side of the rendered card in pixels, its samples a pixel, and its side in mm: small beside a piece, and free of noise as a
mean."""


@record
class Reading:
    """(3,) mean linear radiance of the card, and the standard error of its luminance relative to the mean."""

    colour: Floats
    error: float


def card_matrix(centre_mm: Floats | Vector, normal: Floats | Vector) -> Matrix:
    """The matrix (metres) of a card at `centre_mm` that faces along `normal`."""
    turn = Vector(normal).to_track_quat("-Z", "Y")
    return Matrix.Translation(Vector(centre_mm) / MM) @ turn.to_matrix().to_4x4()


def read_card(
    *,
    centre_mm: Floats | Vector,
    normal: Floats | Vector,
    lights: Iterable[bpy.types.Object],
    world: bpy.types.World,
    around: Iterable[bpy.types.Object] = (),
    seed: int = 1,
) -> Reading:
    """Render an 18 % grey card under lights and world, among `around` (objects that reflect light or cast shadows onto it).

    All temporary data is removed; the job's scene is not changed.
    """
    card = flat_object("Grey card meter", CARD_MM, CARD_MM, matt_material("Grey card meter", (GREY,) * 3))
    card.matrix_world = card_matrix(centre_mm, normal)
    pixels = photographed(card, 0.6 * CARD_MM, (PIXELS, PIXELS), [*lights, *around], world, seed).reshape(-1, 3)
    bright = luminance(pixels)
    mean = float(bright.mean())
    return Reading(pixels.mean(axis=0), float(bright.std() / np.sqrt(len(bright)) / mean) if mean > 0 else 1.0)


TRIAL_PIXELS, TRIAL_SAMPLES, FEWEST = 144, 24, 60
"""Longer side in px and samples of a shot's test render, and the fewest pixels of the piece that make it valid."""


def read_piece(
    *,
    camera: bpy.types.Object,
    piece: bpy.types.Object,
    lights: Iterable[bpy.types.Object],
    world: bpy.types.World,
    around: Iterable[bpy.types.Object] = (),
    seed: int = 1,
) -> Floats | None:
    """(n,) linear luminance of a piece's pixels, rendered through a shot's camera among `around` under lights and world.

    None where hardly any of the piece is in the picture.
    """
    seen = shown_alone(piece, camera, world, seed)
    if seen.sum() < FEWEST:
        return None
    return brightness(camera, [piece, *lights, *around], world, seed)[seen]


def shown_alone(item: bpy.types.Object, camera: bpy.types.Object, world: bpy.types.World, seed: int) -> Bools:
    """(h, w) pixels of a shot's test render in which an object is seen, row 0 at the bottom.

    Objects in front of it are ignored: they would have to hide most of it to matter.
    """
    return tried([item], camera, _trial_size(camera), world, seed, samples=4)[..., 3] > 0.5


def brightness(camera: bpy.types.Object, items: Sequence[bpy.types.Object], world: bpy.types.World, seed: int) -> Floats:
    """(h, w) linear luminance of a shot's test render, row 0 at the bottom. items: all that is lit, lights, or stands by."""
    return luminance(tried(items, camera, _trial_size(camera), world, seed, samples=TRIAL_SAMPLES)[..., :3])


def _trial_size(camera: bpy.types.Object, longer: int = TRIAL_PIXELS) -> tuple[int, int]:
    """Width and height in px of a small picture of the shape that a shot has."""
    width, height = camera.get(RESOLUTION, (3, 2))
    return max(8, round(longer * width / max(width, height))), max(8, round(longer * height / max(width, height)))


ROOM_PIXELS, ROOM_SAMPLES = 48, 64
"""Longer side and samples of the picture in which the room behind is measured: it is far out of focus, and its mean counts."""


def read_room(
    *,
    camera: bpy.types.Object,
    room: bpy.types.Object,
    lights: Iterable[bpy.types.Object],
    world: bpy.types.World,
    horizon: float,
    seed: int = 1,
) -> float | None:
    """Mean luminance of the room behind as a camera sees it, linear, by its lightness; None where it sees little of it.

    horizon: height in the frame, 0 to 1, above which the room is seen and no table. The set does
    not stand before it: what shades the piece hardly shades a far wall.
    """
    pixels = tried([room, *lights], camera, _trial_size(camera, ROOM_PIXELS), world, seed, samples=ROOM_SAMPLES)
    above = pixels[round(horizon * len(pixels)) :].reshape(-1, 4)
    seen = above[above[:, 3] > 0.9]
    if len(seen) < 0.5 * len(above):
        return None
    return float(np.cbrt(np.maximum(luminance(seen[:, :3]), 0.0)).mean() ** 3)  # lightness is about a cube root (CIE 15)


def tried(
    items: Sequence[bpy.types.Object],
    camera: bpy.types.Object,
    size: tuple[int, ...],
    world: bpy.types.World,
    seed: int,
    *,
    samples: int,
) -> Floats:
    """(h, w, 4) linear render of objects through a camera in a temporary scene, row 0 at the bottom; transparent where only the
    world is visible.

    size: (width, height) px. samples: a pixel.
    """
    scene = bpy.data.scenes.new("Bozzetto trial")
    try:
        for shown in (camera, *items):
            if shown.name not in scene.collection.objects:
                scene.collection.objects.link(shown)
        scene.camera, scene.world = camera, world
        scene.render.resolution_x, scene.render.resolution_y = size
        return _rendered(scene, seed, samples=samples, transparent=True)
    finally:
        bpy.data.scenes.remove(scene)


def photographed(
    item: bpy.types.Object,
    width_mm: float,
    size: tuple[int, int],
    others: Iterable[bpy.types.Object],
    world: bpy.types.World,
    seed: int,
) -> Floats:
    """(h, w, 3) linear pixels of a flat object (facing along its -Z), rendered from 0.5 mm in front; the object is removed.

    size: (width, height) px.
    """
    scene = bpy.data.scenes.new("Bozzetto meter")
    camera = bpy.data.objects.new("Bozzetto meter", bpy.data.cameras.new("Bozzetto meter"))
    try:
        camera.data.type, camera.data.ortho_scale = "ORTHO", width_mm / MM
        camera.data.clip_start, camera.data.clip_end = 1e-5, 0.01
        # so near that nothing of the set can be between
        camera.matrix_world = item.matrix_world @ Matrix.Translation((0.0, 0.0, -0.0005)) @ Matrix.Rotation(np.pi, 4, "Y")
        for added in (item, camera, *others):
            if added.name not in scene.collection.objects:
                scene.collection.objects.link(added)
        scene.camera, scene.world = camera, world
        scene.render.resolution_x, scene.render.resolution_y = size
        return _rendered(scene, seed)[..., :3]
    finally:
        material = item.data.materials[0]
        bpy.data.batch_remove([scene, item, camera, item.data, camera.data])
        if material.users == 0:
            bpy.data.materials.remove(material)


def _rendered(scene: bpy.types.Scene, seed: int, *, samples: int = SAMPLES, transparent: bool = False) -> Floats:
    """(h, w, 4) scene-linear pixels of the scene's camera, row 0 at the bottom."""
    render: Any = scene.render
    render.engine = "CYCLES"
    render.resolution_percentage = 100
    render.use_compositing = render.use_sequencer = False
    render.film_transparent = transparent
    cycles = scene.cycles
    cycles.device = "CPU"
    cycles.samples, cycles.seed = samples, seed
    cycles.use_adaptive_sampling = cycles.use_denoising = False
    cycles.sample_clamp_direct = cycles.sample_clamp_indirect = 0.0
    cycles.max_bounces = cycles.diffuse_bounces = 4
    scene.view_settings.view_transform = "Raw"
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "card.exr"
        set_media(render.image_settings, "IMAGE")
        render.image_settings.file_format = "OPEN_EXR"
        render.image_settings.color_depth, render.image_settings.color_mode = "32", "RGBA"
        render.filepath = str(target)
        bpy.ops.render.render(scene=scene.name, write_still=True)
        image = bpy.data.images.load(str(target))
        try:
            values = np.zeros(len(image.pixels), np.float32)
            image.pixels.foreach_get(values)
        finally:
            bpy.data.images.remove(image)
    width, height = render.resolution_x, render.resolution_y
    return values.reshape(height, width, 4).astype(float)
