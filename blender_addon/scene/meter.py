"""How bright is it at the subject's place? A grey card is held there and photographed in a small render of its own."""

from __future__ import annotations

import tempfile
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix, Vector

from ..core.exposure import GREY
from .compat import set_media
from .lights import flat_object, matt_material

PIXELS = 12
SAMPLES = 192
CARD_MM = 30.0


@dataclass(frozen=True)
class Reading:
    """(3,) mean linear radiance of the card, and the standard error of its luminance relative to the mean."""

    colour: Any
    error: float


def card_matrix(centre_mm: Sequence[float], normal: Sequence[float]) -> Any:
    """The matrix (metres) of a card at `centre_mm` that looks along `normal`."""
    turn = Vector(normal).to_track_quat("-Z", "Y")
    return Matrix.Translation(Vector(centre_mm) / 1000.0) @ turn.to_matrix().to_4x4()


def read_card(
    *,
    centre_mm: Sequence[float],
    normal: Sequence[float],
    lights: Iterable[Any],
    world: Any,
    around: Iterable[Any] = (),
    seed: int = 1,
) -> Reading:
    """Render an 18 % card alone among `around` (objects that throw light or shadow on it) under lights and world.

    All that is made for it is taken away again; nothing of the job's scene is touched.
    """
    scene = bpy.data.scenes.new("Bozzetto meter")
    made: list[Any] = []
    try:
        card = flat_object("Grey card meter", CARD_MM, CARD_MM, matt_material("Grey card meter", (GREY,) * 3))
        made.append(card)
        card.matrix_world = card_matrix(centre_mm, normal)
        camera_data = bpy.data.cameras.new("Grey card meter")
        camera = bpy.data.objects.new("Grey card meter", camera_data)
        made.append(camera)
        _aim(camera, centre_mm, normal)
        for item in (card, camera, *lights, *around):
            if item.name not in scene.collection.objects:
                scene.collection.objects.link(item)
        scene.camera, scene.world = camera, world
        return _rendered(scene, seed)
    finally:
        material = made[0].data.materials[0] if made else None
        bpy.data.batch_remove([scene, *made, *(item.data for item in made)])
        if material is not None and material.users == 0:
            bpy.data.materials.remove(material)


def _aim(camera: Any, centre_mm: Sequence[float], normal: Sequence[float]) -> None:
    camera.data.type = "ORTHO"
    camera.data.ortho_scale = 0.6 * CARD_MM / 1000.0
    camera.data.clip_start, camera.data.clip_end = 1e-5, 0.01
    place = card_matrix(centre_mm, normal)
    # half a millimetre before the card and looking at it: nothing of the set can stand between
    camera.matrix_world = place @ Matrix.Translation((0.0, 0.0, -0.0005)) @ Matrix.Rotation(np.pi, 4, "Y")


def _rendered(scene: Any, seed: int) -> Reading:
    render = scene.render
    render.engine = "CYCLES"
    render.resolution_x = render.resolution_y = PIXELS
    render.resolution_percentage = 100
    render.use_compositing = render.use_sequencer = False
    render.film_transparent = False
    cycles = scene.cycles
    cycles.device = "CPU"
    cycles.samples, cycles.seed = SAMPLES, seed
    cycles.use_adaptive_sampling = cycles.use_denoising = False
    cycles.sample_clamp_direct = cycles.sample_clamp_indirect = 0.0
    cycles.max_bounces = cycles.diffuse_bounces = 4
    scene.view_settings.view_transform = "Raw"
    with tempfile.TemporaryDirectory() as folder:
        target = Path(folder) / "card.exr"
        set_media(render.image_settings, "IMAGE")
        render.image_settings.file_format = "OPEN_EXR"
        render.image_settings.color_depth = "32"
        render.filepath = str(target)
        bpy.ops.render.render(scene=scene.name, write_still=True)
        image = bpy.data.images.load(str(target))
        try:
            values = np.zeros(len(image.pixels), np.float32)
            image.pixels.foreach_get(values)
        finally:
            bpy.data.images.remove(image)
    pixels = values.reshape(-1, 4)[:, :3].astype(float)
    bright = pixels @ np.array([0.2126, 0.7152, 0.0722])
    mean = float(bright.mean())
    return Reading(pixels.mean(axis=0), float(bright.std() / np.sqrt(len(bright)) / mean) if mean > 0 else 1.0)
