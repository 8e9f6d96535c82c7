"""Lays a photo beside its render: brings the photo to the render's size, and writes both and their differences as pictures."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from ...core.arrays import Bools, Floats, Pixels8
from ...core.closeups.placing.pictures import smaller
from ...core.files.pictures.labels import Labels
from ...core.files.pictures.png_writer import write_png
from ...core.rasters import resized
from ...core.reference.comparing import FULL_COLOUR, FULL_FORM, Difference, as_picture, difference, inner
from ...core.srgb import decode, encode
from ...job.files.whole_files import whole_file
from ..delivery.originals import read_picture
from ..images import read_pixels
from ..running.session import writes
from .files import Files

BORDER = 0.004
"""Share of the picture's longer side that is left out round the piece, where its edge mixes with what is behind."""


FULL_TONES = (f"CIEDE2000 of {FULL_COLOUR:g}", f"{100.0 * FULL_FORM:g} % of the light")
"""What the full tone stands for in the pictures of colour and form, in words."""


def figures_of(found: Difference, name: str) -> dict[str, object]:
    """A comparison's figures for the step's result."""
    return {
        f"{name}_delta_e2000": round(found.colour_mean, 2), f"{name}_delta_e2000_95": round(found.colour_most, 2),
        f"{name}_form_alike": round(found.form_alike, 3), f"{name}_form_percent": round(100.0 * found.form_share, 2),
    }  # fmt: skip


def said_of(figures: Mapping[str, Any], name: str) -> tuple[str, str]:
    """The figures of a comparison as two sentences."""
    mean, most, alike, share = (
        figures[f"{name}_{what}"] for what in ("delta_e2000", "delta_e2000_95", "form_alike", "form_percent")
    )
    return (
        f"Colour differs by {mean:.1f} CIEDE2000 in the mean; 95 % of the piece by less than {most:.1f}",
        f"Local light and shade agree to {alike:.2f} (1: the same strokes and edges) and differ by {share:.1f} % of the light",
    )


def compare(photo: bpy.types.Image, mask: bpy.types.Image, files: Files) -> Difference:
    """Write the photo at the render's size and the pictures of the differences.

    Raises ValueError where nothing can be compared.
    """
    render = read_picture(files.render).astype(np.float32) / np.float32(65535.0)
    size = (render.shape[1], render.shape[0])
    shown, piece = _brought(photo, size), _covered(mask, size)
    piece = inner(piece, max(2, round(BORDER * max(size))))
    found = difference(shown, render, piece)
    _write(files.photo, np.rint(255.0 * np.clip(shown, 0, 1)).astype(np.uint8))
    _write(files.colour, as_picture(found.colour, piece, FULL_COLOUR))
    _write(files.form, as_picture(found.form, piece, FULL_FORM))
    return found


def _brought(photo: bpy.types.Image, size: tuple[int, int]) -> Floats:
    """(h, w, 3) the photo at another size (width, height), display-encoded, row 0 at the top; averaged as light."""
    light = decode(read_pixels(photo)[::-1, :, :3])
    factor = max(light.shape[1] / size[0], 1.0)
    planes = [resized(smaller(np.ascontiguousarray(light[..., channel]), factor), size[::-1]) for channel in range(3)]
    return encode(np.clip(np.stack(planes, axis=2), 0, 1))


def _covered(mask: bpy.types.Image, size: tuple[int, int]) -> Bools:
    """(h, w) bool where the piece is, row 0 at the top."""
    return np.asarray(resized(read_pixels(mask)[::-1, :, 0], size[::-1]) > 0.5)


def _write(path: Path, pixels: Pixels8) -> None:
    with whole_file(path) as draft, writes(path), draft.open("wb") as file:
        write_png(file, [pixels], (pixels.shape[1], pixels.shape[0]), Labels())
