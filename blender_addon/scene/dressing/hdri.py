"""Loads environment pictures: the user's file, or one of those that come with Blender."""

from __future__ import annotations

from pathlib import Path

import bpy
import numpy as np

from ...core.arrays import Floats
from ...core.files.plain_files import is_there
from ...job.errors import InputError
from ...job.settings import nearest
from ..images import opened, size_of

SUFFIXES = (".exr", ".hdr")


def own_pictures() -> dict[str, Path]:
    """The environment pictures in Blender's own data files, by name."""
    folder = bpy.utils.system_resource("DATAFILES", path="studiolights/world")
    if not folder:
        return {}
    return {path.stem: path for path in sorted(Path(folder).glob("*.exr"))}


def load_surroundings(written: str, path: Path) -> bpy.types.Image:
    """Load and pack an environment picture.

    written: the sheet's value, a name of one of Blender's own or a file. path: that file, as an absolute path.
    """
    own = own_pictures()
    file = own.get(written.lower(), path)
    if not is_there(file):
        hint = nearest(written, list(own)) if not Path(written).suffix else ""
        raise InputError(
            f'There is no picture of surroundings "{written}"{hint}; give an .exr or .hdr file, or one of Blender\'s own: '
            f"{', '.join(own)}"
        )
    if file.suffix.lower() not in SUFFIXES:
        raise InputError(
            f'"{file.name}" can\'t light a scene: surroundings must be an .exr or .hdr picture with its full range'
        )
    image = opened(file, f'"{file.name}"', "can't light a scene", "again as .exr or .hdr")
    width, height = int(image.size[0]), int(image.size[1])
    if not width or not height:
        bpy.data.images.remove(image)
        raise InputError(f'"{file.name}" has no pixels: it is damaged or not a picture; save it again as .exr or .hdr')
    if not 1.8 <= width / height <= 2.2:
        bpy.data.images.remove(image)
        raise InputError(f'"{file.name}" is {width} x {height}: surroundings must be equirectangular, twice as wide as high')
    image.pack()
    return image


def luminance_of(image: bpy.types.Image, *, rows: int = 256) -> Floats:
    """(h, w) luminance of a scene-linear image, averaged down to about `rows` rows, row 0 at the bottom."""
    width, height = size_of(image)
    values = np.zeros(width * height * 4, np.float32)
    image.pixels.foreach_get(values)
    bright = values.reshape(height, width, 4)[..., :3] @ np.array([0.2126, 0.7152, 0.0722], np.float32)
    bright = np.where(np.isfinite(bright), np.maximum(bright, 0.0), 0.0)
    step = max(1, height // rows)
    high, wide = height // step * step, width // step * step
    return bright[:high, :wide].reshape(high // step, step, wide // step, step).mean(axis=(1, 3))
