"""A rendered still as the client needs it: size, crop, bits, resolution tag, scale bar, credit."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from ...core.delivery.contact_sheet import fitted
from ...core.delivery.scale_bar import bar_length
from ...core.srgb import decode
from ..images import read_pixels
from ..session import whole_file

SUFFIX = {"png8": ".png", "png16": ".png", "tiff16": ".tif", "jpeg": ".jpg"}


@dataclass(frozen=True)
class Wanted:
    """What a copy should be; lengths in mm, `aspect` is width over height."""

    kind: str
    width: int | None = None
    print_width_mm: float | None = None
    dpi: int = 300
    aspect: float | None = None
    scale_bar: bool = False
    credit: str = ""


def write_client_picture(source: Path, target: Path, wanted: Wanted, *, field_width_mm: float) -> Path:
    """Write a copy of a still beside `target` with the suffix of its kind; returns its path.

    field_width_mm: width of what the whole still shows at its plane of focus, for the scale bar.
    """
    image = bpy.data.images.load(str(source))
    try:
        picture = read_pixels(image)[::-1, :, :3].copy()
    finally:
        bpy.data.images.remove(image)
    full_width = picture.shape[1]
    picture = _cropped(picture, wanted.aspect)
    mm_a_pixel = field_width_mm / full_width
    width = wanted.width or (round(wanted.print_width_mm / 25.4 * wanted.dpi) if wanted.print_width_mm else picture.shape[1])
    mm_a_pixel *= picture.shape[1] / width
    picture = fitted(picture, width, max(1, round(picture.shape[0] * width / picture.shape[1])))
    if wanted.scale_bar:
        _draw_bar(picture, mm_a_pixel)
    path = target.with_name(target.name + SUFFIX[wanted.kind])
    with whole_file(path) as draft:
        _save(picture, draft, wanted)
    return path


def _cropped(picture: Any, aspect: float | None) -> Any:
    if aspect is None:
        return picture
    height, width = picture.shape[:2]
    new_width, new_height = min(width, round(height * aspect)), min(height, round(width / aspect))
    x, y = (width - new_width) // 2, (height - new_height) // 2
    return picture[y : y + new_height, x : x + new_width]


def _draw_bar(picture: Any, mm_a_pixel: float) -> None:
    """A plain bar at the bottom left, a round number of millimetres long, light on dark and dark on light."""
    height, width = picture.shape[:2]
    length = bar_length(0.25 * width * mm_a_pixel)
    pixels, thick, edge = round(length / mm_a_pixel), max(3, height // 160), max(12, height // 30)
    patch = picture[height - edge - thick : height - edge, edge : edge + pixels]
    patch[:] = 0.05 if float(patch.mean()) > 0.5 else 0.95


def _save(picture: Any, path: Path, wanted: Wanted) -> None:
    # The copy is a finished picture: linear light for Blender's writer, back through the plain sRGB view, no other transform.
    scene: Any = bpy.data.scenes.new("bozzetto copy")
    scene.view_settings.view_transform, scene.view_settings.look = "Standard", "None"
    image = bpy.data.images.new("bozzetto copy", picture.shape[1], picture.shape[0], float_buffer=True)
    try:
        full = np.ones((*picture.shape[:2], 4), np.float32)
        full[..., :3] = decode(picture[::-1])
        image.pixels.foreach_set(full.ravel())
        settings = scene.render.image_settings
        settings.file_format = {"png8": "PNG", "png16": "PNG", "tiff16": "TIFF", "jpeg": "JPEG"}[wanted.kind]
        settings.color_mode = "RGB"
        if wanted.kind != "jpeg":
            settings.color_depth = "16" if wanted.kind.endswith("16") else "8"
        settings.quality = 93
        if hasattr(scene.render, "ppm_factor"):
            scene.render.ppm_factor, scene.render.ppm_base = wanted.dpi, 0.0254
        image.save_render(str(path), scene=scene)
    finally:
        bpy.data.images.remove(image)
        bpy.data.scenes.remove(scene)
