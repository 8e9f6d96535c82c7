"""A scene rendered as linear light, for tests that measure it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import numpy as np

from blender_addon.scene.compat import set_media


def linear_render(scene: Any, folder: Path, *, size: tuple[int, int], samples: int) -> np.ndarray:
    """(h, w, 3) what the scene's camera sees through Cycles, each sample counted and nothing denoised."""
    width, height = size
    scene.render.engine, scene.cycles.samples = "CYCLES", samples
    scene.cycles.use_denoising = scene.cycles.use_adaptive_sampling = False
    scene.render.resolution_x, scene.render.resolution_y, scene.render.resolution_percentage = width, height, 100
    set_media(scene.render.image_settings, "IMAGE")
    scene.render.image_settings.file_format = "OPEN_EXR"
    scene.render.filepath = str(folder / "linear.exr")
    bpy.ops.render.render(write_still=True)
    image = bpy.data.images.load(scene.render.filepath)
    values = np.zeros(width * height * 4, np.float32)
    image.pixels.foreach_get(values)
    bpy.data.images.remove(image)
    return values.reshape(height, width, 4)[..., :3].astype(float)
