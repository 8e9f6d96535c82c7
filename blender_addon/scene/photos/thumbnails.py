"""Encodes a small picture as JPEG bytes, using Blender's writer."""

from __future__ import annotations

import tempfile
from pathlib import Path

import bpy
import numpy as np

from ...core.arrays import Pixels8

QUALITY = 80
"""Of small JPEGs, 1 to 100 (common practice)."""


def as_jpeg(pixels: Pixels8) -> bytes:
    """The JPEG file of an 8-bit picture (h, w, 3), row 0 on top."""
    height, width = pixels.shape[:2]
    full = np.ones((height, width, 4), np.float32)
    full[..., :3] = pixels[::-1] / np.float32(255.0)
    image = bpy.data.images.new("thumbnail", width, height, alpha=False)
    try:
        image.pixels.foreach_set(full.ravel())
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "thumbnail.jpg"
            image.filepath_raw, image.file_format = str(path), "JPEG"
            image.save(quality=QUALITY)
            return path.read_bytes()
    finally:
        bpy.data.images.remove(image)
