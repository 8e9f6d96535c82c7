"""Draws pictures and filled rectangles over the 3D view, in pixels of the region."""

from __future__ import annotations

from pathlib import Path

import bpy
import gpu
import numpy as np

from ...scene.images import read_pixels


def texture_of(path: Path, *, limit: int | None = None) -> gpu.types.GPUTexture:
    """A picture file as a texture in display colours, reduced where a side is longer than `limit`.

    Raises ValueError where it has no pixels.
    """
    image = bpy.data.images.load(str(path))
    try:
        image.colorspace_settings.name = "Non-Color"
        pixels = np.ascontiguousarray(read_pixels(image, limit=limit), np.float32)
    finally:
        bpy.data.images.remove(image)
    height, width = pixels.shape[:2]
    return gpu.types.GPUTexture((width, height), format="RGBA16F", data=gpu.types.Buffer("FLOAT", pixels.size, pixels.ravel()))


def draw_picture(
    texture: gpu.types.GPUTexture, x: float, y: float, width: float, height: float, part: tuple[float, float] = (0.0, 1.0)
) -> None:
    """Draw a picture at its lower left corner, or only the part between two shares of its width."""
    from gpu_extras.batch import batch_for_shader

    start, end = part
    if end <= start:
        return
    left, right = x + start * width, x + end * width
    shader = gpu.shader.from_builtin("IMAGE")
    places = ((left, y), (right, y), (right, y + height), (left, y + height))
    batch = batch_for_shader(
        shader, "TRI_FAN", {"pos": places, "texCoord": ((start, 0.0), (end, 0.0), (end, 1.0), (start, 1.0))}
    )
    shader.bind()
    shader.uniform_sampler("image", texture)
    batch.draw(shader)


def fill_box(x: float, y: float, width: float, height: float, colour: tuple[float, float, float, float]) -> None:
    """Draw a filled rectangle."""
    from gpu_extras.batch import batch_for_shader

    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    places = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
    gpu.state.blend_set("ALPHA")
    shader.uniform_float("color", colour)
    batch_for_shader(shader, "TRI_FAN", {"pos": places}).draw(shader)
    gpu.state.blend_set("NONE")
