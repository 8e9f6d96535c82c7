"""Reads the full texture of a piece whose relief was read from a halved one, and adds its finer relief to the normal map."""

from __future__ import annotations

from collections.abc import Generator
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from ...core import memory
from ...core.arrays import Floats
from ...core.generators import passed_on
from ...core.srgb import luminance
from ...core.surface.pigment import PIGMENTS
from ...core.surface.relief.finer import Base, Finer, read_finer
from ...core.surface.relief.finest import finest_of_picture
from ...job.files.aside import aside, aside_steps
from ...job.step import Progress
from ..images import read_pixels, release, working_size
from ..meshes import read_mesh
from .base_picture import base_picture, picture_of
from .surface_texture import is_linear, linear_colours

if TYPE_CHECKING:
    import bpy

FULL = 8192
"""Longest side in pixels that a normal map gets; a larger texture is halved."""
BYTES_A_PIXEL = 64.0
"""Most bytes that a pixel takes: the texture as bytes and as numbers, the normal map twice as numbers and once packed."""
HELD = 2.5
"""Cells of the first pass, the shortest wave that it holds. A texture with nothing finer is not read again."""
ROWS = 512
"""Rows of a picture that are read at a time, to bound memory."""
DARKEST = 1e-4
"""Luminance that counts as black: no number has a logarithm of less."""


def finer_relief(
    item: bpy.types.Object, base: Base, progress: Progress, *, seed: int
) -> Generator[Progress, None, Finer | None]:
    """The normal map of the piece's full texture; None where that is no larger than what was read, holds no finer detail, does
    not follow the light, shows a painted piece, or does not fit into memory."""
    surface = base.surface
    image = _full_texture(item, base)
    if image is None:
        return None
    size = _size(image)
    if max(size) < 1.5 * max(surface.texels.shape):
        return None
    yield Progress(progress.fraction, "Reading the full texture", blocking=True)
    linear = is_linear(image)
    pixels = read_pixels(image, limit=max(size))
    release(image)
    reading = Progress(progress.fraction, "Reading the full texture")
    bright: Floats = yield from aside(partial(log_luminance, pixels, linear=linear), reading)
    del pixels
    texel_mm = surface.texel_mm * surface.texels.shape[0] / len(bright)
    detail_mm = yield from aside(partial(finest_of_picture, bright, surface.texels.mask(), texel_mm), reading)
    if not 0.0 < detail_mm < HELD * base.cell_mm:
        return None
    words = "Reading relief as fine as the texture"
    work = passed_on(read_finer(base, bright, detail_mm=detail_mm, seed=seed), lambda share: (share, words))
    return (yield from aside_steps(work, lambda share, said: Progress(progress.fraction + 0.05 * share, said)))


def log_luminance(pixels: Floats, *, linear: bool) -> Floats:
    """(h, w) float16 log of the luminance of pixels (h, w, 4) as Blender hands them out."""
    found = np.zeros(pixels.shape[:2], np.float16)
    for first in range(0, len(pixels), ROWS):
        colours = linear_colours(pixels[first : first + ROWS], linear=linear)
        found[first : first + ROWS] = np.log(np.maximum(luminance(colours), DARKEST))
    return found


def _full_texture(item: bpy.types.Object, base: Base) -> bpy.types.Image | None:
    """The picture of a plain piece that was read as a photo of light; a scan's own normal map is fine form enough."""
    lit = base.recovery.light[0]
    if base.surface.on_vertices or lit.light.pigment >= PIGMENTS.plain or lit.evidence.trust == 0.0:
        return None
    texture = base_picture(item, read_mesh(item))
    if texture is None or picture_of(item.data.materials[texture.slot], "normal") is not None:
        return None
    return texture.image


def _size(image: bpy.types.Image) -> tuple[int, int]:
    """The size at which a picture is read: as large as FULL and the free memory allow."""
    free, limit = memory.free_mb(), FULL
    while True:
        width, height = working_size(image, limit)
        if free is None or BYTES_A_PIXEL * width * height < 1e6 * free or limit <= 512:
            return width, height
        limit //= 2
