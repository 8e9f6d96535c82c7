"""Converts between pixel arrays and Blender's images. Row 0 is the bottom row (v = 0), as in Blender and in UV space."""

from __future__ import annotations

from pathlib import Path

import bpy
import numpy as np

from ..core.arrays import Floats
from ..core.files.meshes.ply import FileProblem
from ..core.files.pictures.picture_headers import check_picture
from ..job.errors import InputError

LARGEST = 4096
"""Longest side in pixels at which images are processed; a 16K image as 32-bit floats would take 4 GB."""

BRIGHTEST = 65504.0
"""Taken for an infinite value of a float image: the largest number of half precision (IEEE 754 binary16)."""


def size_of(image: bpy.types.Image) -> tuple[int, int]:
    """(width, height) of an image in pixels; both are 0 where it has none."""
    return int(image.size[0]), int(image.size[1])


def working_size(image: bpy.types.Image, limit: int = LARGEST) -> tuple[int, int]:
    """(width, height) at which an image is processed: its own size, halved until neither side exceeds `limit`."""
    width, height = size_of(image)
    while max(width, height) > limit:
        width, height = max(1, (width + 1) // 2), max(1, (height + 1) // 2)
    return width, height


def read_pixels(image: bpy.types.Image, *, limit: int | None = None) -> Floats:
    """(height, width, 4) float32 as Blender stores them: display-encoded for byte images, linear for float images.
    All values are finite.

    limit: longest side; a larger image is read from a temporary copy scaled to `working_size`. The image itself is unchanged.
    Raises ValueError when the image has no pixels (missing or unreadable file).
    """
    width, height = size_of(image)
    if not width or not height:
        raise ValueError(f'image "{image.name}" has no pixels')
    if limit is not None and max(width, height) > limit:
        return _read_reduced(image, *working_size(image, limit))
    values = np.zeros(width * height * 4, np.float32)
    image.pixels.foreach_get(values)
    if image.is_float and not np.isfinite(values).all():  # an OpenEXR can hold any number, and what is none
        np.nan_to_num(values, copy=False, nan=0.0, posinf=BRIGHTEST, neginf=0.0)
    return values.reshape(height, width, 4)


LOOKED = 2048 * 2048
"""Pixels up to which a picture is read whole to be reduced here, 64 MB; a guess."""


def look_at(image: bpy.types.Image, limit: int) -> Floats:
    """As `read_pixels` with a limit, for a look at a picture: of one that can be halved, the means of its pixels.

    Blender would decode the picture once more for the copy that it scales, and rounds the means to 8 bits.
    """
    (width, height), (wide, high) = size_of(image), working_size(image, limit)
    if width * height > LOOKED or width % max(wide, 1) or height % max(high, 1) or width * high != height * wide:
        return read_pixels(image, limit=limit)
    pixels = read_pixels(image)
    while len(pixels) > high:
        pixels = pixels[0::2] + pixels[1::2]
        pixels = pixels[:, 0::2] + pixels[:, 1::2]
        pixels *= 0.25
    return pixels


def opened(path: Path, subject: str, refusal: str, save_as: str) -> bpy.types.Image:
    """Load a picture file as a new image, after checking its header.

    Raises InputError: "{subject} {refusal}: ..." where the file is damaged, "{subject} can't be read as a picture ...; save it
    {save_as}" where Blender can't open it.
    """
    try:
        check_picture(path)
    except FileProblem as problem:
        raise InputError(f"{subject} {refusal}: {problem}") from None
    try:
        return bpy.data.images.load(str(path), check_existing=False)
    except RuntimeError as error:
        raise InputError(f"{subject} can't be read as a picture ({error}); save it {save_as}") from None


def release(image: bpy.types.Image) -> None:
    """Free the pixel buffer of a very large image (1 GB at 16K). Blender reloads it from the packed file on the next access."""
    if max(image.size) > LARGEST and image.packed_file is not None and not image.is_dirty:
        image.buffers_free()


def _read_reduced(image: bpy.types.Image, width: int, height: int) -> Floats:
    if image.is_dirty:  # a copy would lack unsaved painting
        step = -(-image.size[0] // width)
        return read_pixels(image)[::step, ::step].copy()
    release(image)
    copy = image.copy()
    try:
        copy.scale(width, height)
        return read_pixels(copy)
    finally:
        bpy.data.images.remove(copy)


def make_image(name: str, pixels: Floats, *, data: bool = False, floating: bool = False) -> bpy.types.Image:
    """Create a packed image from (height, width) or (height, width, 1, 3 or 4) float in 0 to 1 (any range when `floating`).

    data: the values are not colours (a height, a normal); the image is Non-Color. floating: store 32-bit floats, packed as
    OpenEXR; otherwise 8-bit PNG, for which `pixels` are display-encoded.
    """
    pixels = np.asarray(pixels)
    if pixels.ndim == 2:
        pixels = pixels[..., None]
    height, width, channels = pixels.shape
    full = np.ones((height, width, 4), np.float32)
    full[..., :3] = pixels[..., :3] if channels >= 3 else pixels[..., :1]
    if channels == 4:
        full[..., 3] = pixels[..., 3]
    image = bpy.data.images.new(name, width, height, alpha=channels == 4, float_buffer=floating, is_data=data)
    image.pixels.foreach_set(full.ravel())
    del full  # 1 GB at 8K, which packing needs
    image.update()
    image.pack()
    release(image)
    return image
