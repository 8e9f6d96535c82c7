"""Draws a scan under raking light: bare, with the recovered relief, and as it truly is."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np

from blender_addon.core.arrays import Floats
from blender_addon.core.mesh.triangles import unit
from blender_addon.core.srgb import encode

LAMP = unit(np.array([-0.95, -0.25, 0.22]))


def raking(position: Floats, normals: Floats, *, height_px: int = 560, lamp: Floats = LAMP) -> Floats:
    """(h, w, 3) display values of points seen from the front (-Y), lit by a lamp low at the left and a little sky."""
    low, high = position.min(axis=0), position.max(axis=0)
    pixel = (high[2] - low[2]) / (height_px - 20)
    width = int((high[0] - low[0]) / pixel) + 20
    column = ((position[:, 0] - low[0]) / pixel + 10).astype(int)
    row = ((high[2] - position[:, 2]) / pixel + 10).astype(int)
    place = row * width + column
    front = np.full(height_px * width, -np.inf)
    np.maximum.at(front, place, -position[:, 1])
    shown = -position[:, 1] > front[place] - 0.4
    light = 0.75 * np.maximum(normals @ lamp, 0) + 0.12 * (1 + normals[:, 2])
    total = np.bincount(place[shown], light[shown], height_px * width)
    count = np.bincount(place[shown], minlength=height_px * width)
    shade = np.where(count > 0, total / np.maximum(count, 1), 0.02).reshape(height_px, width)
    return encode(np.repeat(np.clip(shade, 0, 1)[..., None], 3, axis=2) * np.array([1.0, 0.93, 0.86]))


def triptych(part: Any, slopes: Floats, path: Path) -> None:
    """Bare scan, recovered and truth, side by side."""
    from PIL import Image

    position, normal = part.surface.position, part.surface.normal
    height_px = min(560, int(0.7 * np.ptp(position[:, 2]) / part.surface.texel_mm))  # a finer pixel may hold no texel
    normals = (normal, unit(normal - slopes), part.true_normal)
    shown = [raking(position, each, height_px=height_px) for each in normals]
    path.parent.mkdir(parents=True, exist_ok=True)
    Image.fromarray((np.concatenate(shown, axis=1) * 255).astype(np.uint8)).save(path)
