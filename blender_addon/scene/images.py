"""Between pixel arrays and Blender's images. Row 0 is the bottom row (v = 0), as in Blender and in UV space."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np


def read_pixels(image: Any) -> Any:
    """(height, width, 4) float32 as Blender hands them out: display-encoded for byte images, linear for float ones.

    Raises ValueError when the image has no pixels (missing or unreadable file).
    """
    width, height = image.size
    if not width or not height:
        raise ValueError(f'image "{image.name}" has no pixels')
    values = np.zeros(width * height * 4, np.float32)
    image.pixels.foreach_get(values)
    return values.reshape(height, width, 4)


def make_image(name: str, pixels: Any, *, data: bool = False, floating: bool = False) -> Any:
    """A new packed image from (height, width, 1, 3 or 4) float in 0 to 1 (or any range when `floating`).

    data: the values are numbers (a height, a normal), not colours; the image is Non-Color. floating: keep 32-bit floats,
    packed as OpenEXR; otherwise 8-bit PNG, the values given display-encoded.
    """
    pixels = np.asarray(pixels, np.float32)
    if pixels.ndim == 2:
        pixels = pixels[..., None]
    height, width, channels = pixels.shape
    full = np.ones((height, width, 4), np.float32)
    full[..., :3] = pixels[..., :3] if channels >= 3 else pixels[..., :1]
    if channels == 4:
        full[..., 3] = pixels[..., 3]
    image = bpy.data.images.new(name, width, height, alpha=channels == 4, float_buffer=floating, is_data=data)
    image.pixels.foreach_set(full.ravel())
    image.update()
    image.pack()
    return image
