"""How are the colours of a surface read? Pictures as linear light, and which layer of vertex colours is the photo."""

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
    """(height, width, 3) float32 linear colours of an image, reduced where a side passes `limit`.

    Byte images in an sRGB-like space are decoded; float images and Non-Color ones are taken as they are.
    """
    linear = image.is_float or image.colorspace_settings.name == "Non-Color"  # asked first: it loads what reading may release
    pixels = read_pixels(image, limit=limit)[..., :3]
    if linear:
        return np.ascontiguousarray(pixels)
    return decode(pixels)


def colour_layer(triangles: TriangleMesh) -> str | None:
    """The name of the vertex colours that look most like a photo texture: those that vary most, None when none vary."""
    best, spread = None, 1e-4
    for name, values in triangles.colours.items():
        varied = float(np.std(luminance(values)))
        if np.isfinite(varied) and varied > spread:
            best, spread = name, varied
    return best
