"""Reads the user's close-up photos: converted to sRGB, rotated upright, reduced in size; the files are never changed."""

from __future__ import annotations

from pathlib import Path

import bpy
import numpy as np

from ...core.arrays import Floats
from ...core.closeups.camera import distance_by_film
from ...core.closeups.placing.one_lens import SENSOR, Sensor, sensor_by_film
from ...core.files.pictures.colour_profile import as_srgb
from ...core.files.pictures.exif import as_held, photo_fields
from ...core.files.plain_files import is_there
from ...core.records import record
from ...job.errors import InputError
from ..images import opened, read_pixels

SMALLEST = 200
"""Shorter side in px below which a picture is too small to read relief from."""
_HEIF = (b"heic", b"heix", b"hevc", b"mif1", b"msf1", b"heim", b"avif")


@record
class Photo:
    """A photo, rotated upright.

    pixels: (h, w, 3) float32 display-encoded, row 0 at the bottom, at the working size. size: (width, height) of the full
    photo. distance: image distance in pixels of the full photo, from its Exif data, None without. optics: the same of photos
    by one lens that was not zoomed between them, '' where the file doesn't tell. sensor: what the file says of it.
    """

    pixels: Floats
    size: tuple[int, int]
    distance: float | None
    optics: str = ""
    sensor: Sensor = Sensor(*SENSOR)


def read_photo(path: Path, *, longest: int) -> Photo:
    """Read a photo from a file. Raises InputError with the problem and its remedy."""
    if not is_there(path):
        raise InputError(f'There is no photo "{path}": check the path on the sheet')
    with path.open("rb") as file:
        start = file.read(16)
    if start[4:8] == b"ftyp" and start[8:12] in _HEIF:
        raise InputError(
            f'The photo "{path.name}" is HEIC, which can\'t be read here: have the phone write JPEG ("most compatible"), or '
            "save a copy as JPEG at full size"
        )
    data = path.read_bytes()
    fields = photo_fields(data)
    pixels = as_held(as_srgb(_loaded(path), data), fields.orientation)
    height, width = pixels.shape[:2]
    if min(height, width) < SMALLEST:
        raise InputError(f'The photo "{path.name}" has only {width} x {height} pixels: use the file as the camera wrote it')
    distance = distance_by_film(fields.focal_35mm, (width, height)) if fields.focal_35mm else None
    optics = fields.optics and f"{fields.optics}/{min(width, height)}/{max(width, height)}"  # a cropped photo is none of them
    sensor = sensor_by_film(fields.focal_mm, fields.focal_35mm, (width, height))
    return Photo(np.ascontiguousarray(_smaller(pixels, longest)[::-1]), (width, height), distance, optics, sensor)


def _loaded(path: Path) -> Floats:
    """(h, w, 3) stored display-encoded values, row 0 at the top."""
    image = opened(path, f'The photo "{path.name}"', "can't be used", "as JPEG or PNG")
    try:
        if image.is_float:
            raise InputError(f'The photo "{path.name}" holds linear light; save it as JPEG or PNG')
        return read_pixels(image)[::-1, :, :3]
    except ValueError:
        raise InputError(f'The photo "{path.name}" is damaged; save it again as JPEG or PNG') from None
    finally:
        bpy.data.images.remove(image)


def _smaller(pixels: Floats, longest: int) -> Floats:
    """Average blocks of pixels so that neither side exceeds `longest`; incomplete blocks at the edges are dropped."""
    factor = -(-max(pixels.shape[:2]) // longest)
    if factor == 1:
        return pixels
    height, width = (side // factor * factor for side in pixels.shape[:2])
    blocks = pixels[:height, :width].reshape(height // factor, factor, width // factor, factor, 3)
    return blocks.mean(axis=(1, 3), dtype=np.float32)
