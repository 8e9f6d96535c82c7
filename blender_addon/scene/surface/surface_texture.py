"""Reads a surface's colours: images as linear values, and which of a mesh's colour attributes is the photo."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from ...core.arrays import Floats
from ...core.mesh.triangles import TriangleMesh
from ...core.srgb import decode, luminance
from ..images import LARGEST, read_pixels

if TYPE_CHECKING:
    import bpy


def read_linear(image: bpy.types.Image, *, limit: int = LARGEST) -> Floats:
    """(height, width, 3) float32 linear colours of an image, reduced where a side exceeds `limit`.

    Byte images in an sRGB-like space are decoded; float images and Non-Color ones are used as stored.
    """
    linear = is_linear(image)  # read first, since reading the pixels may release the image
    return linear_colours(read_pixels(image, limit=limit), linear=linear)


def is_linear(image: bpy.types.Image) -> bool:
    """Whether Blender hands out the image's pixels as linear light, or as numbers that are no colours."""
    return bool(image.is_float or image.colorspace_settings.name == "Non-Color")


def linear_colours(pixels: Floats, *, linear: bool) -> Floats:
    """(h, w, 3) float32 linear colours of pixels (h, w, 4) as Blender hands them out; fit for a thread beside the window."""
    return np.ascontiguousarray(pixels[..., :3]) if linear else decode(pixels[..., :3])


def colour_layer(triangles: TriangleMesh) -> str | None:
    """The name of the colour attribute that varies most, and so is most like a photo texture; None when none varies."""
    best, spread = None, 1e-4
    for name, values in triangles.colours.items():
        varied = float(np.std(luminance(values)))
        if np.isfinite(varied) and varied > spread:
            best, spread = name, varied
    return best
