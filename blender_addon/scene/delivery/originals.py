"""Keeps the originals of each still: a 16-bit PNG through the view transform, and a scene-linear OpenEXR of half floats.

They are in a hidden folder beside the stills, `pictures/.originals`, and come from the same render. The 8-bit still and all
copies are made from them.
"""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import numpy as np

from ...core.arrays import Pixels16
from ...core.delivery.bits import reduced
from ...core.files.pictures.exr import without_words as exr_without_words
from ...core.files.pictures.labels import Labels
from ...core.files.pictures.png import labelled
from ...core.files.pictures.png_writer import write_png
from ...job.files.whole_files import whole_file
from ..compat import set_media
from ..images import read_pixels
from ..running.session import writes

FOLDER = ".originals"
PLAIN = Labels()
RENDER_RESULT = "Render Result"
STRIP = 256
"""Rows that are converted at a time, to bound memory."""


def original_of(still: Path) -> Path:
    """The path of a still's 16-bit original."""
    return still.parent / FOLDER / f"{still.stem}.png"


def linear_of(still: Path) -> Path:
    """The path of a still's scene-linear original."""
    return still.parent / FOLDER / f"{still.stem}.exr"


def keep_render(scene: bpy.types.Scene, still: Path, image: bpy.types.Image | None = None) -> None:
    """Write a still and its originals from the render result, or from a scene-linear float image.

    The still is written last, so that its originals exist whenever it does.
    """
    save_as(scene, image, original_of(still), "PNG", "16")
    save_as(scene, image, linear_of(still), "OPEN_EXR", "16")
    picture = read_picture(original_of(still))
    with whole_file(still) as draft, draft.open("wb") as file:
        parts = (reduced(picture[first : first + STRIP], first=first) for first in range(0, len(picture), STRIP))
        write_png(file, parts, (picture.shape[1], picture.shape[0]), PLAIN)


def save_as(
    scene: bpy.types.Scene, image: bpy.types.Image | None, path: Path, kind: str, depth: str, *, mode: str = "RGB"
) -> None:
    """Write the render result, or an image, through the scene's view; whole, without dates, with a colour profile.

    kind: Blender's name of the file format. depth: bits a channel, as Blender names them. mode: channels, 'RGB' or 'RGBA'.
    """
    settings: Any = scene.render.image_settings
    kept = [(name, getattr(settings, name)) for name in ("file_format", "color_mode", "color_depth", "compression")]
    media = getattr(settings, "media_type", None)
    try:
        set_media(settings, "IMAGE")
        settings.file_format, settings.color_mode, settings.color_depth = kind, mode, depth
        if kind == "OPEN_EXR":
            settings.exr_codec = "ZIP"
        else:
            settings.compression = 30
        with whole_file(path) as draft:
            with writes(path):
                (image or bpy.data.images[RENDER_RESULT]).save_render(str(draft), scene=scene)
            data = draft.read_bytes()
            draft.write_bytes(exr_without_words(data) if kind == "OPEN_EXR" else labelled(data, PLAIN))
    except ValueError:  # the written file does not have the format's header
        from ...job.errors import OutputError

        raise OutputError(f'"{path}" was not written whole: is the disk full? Free some room and run again') from None
    finally:
        if media is not None:
            settings.media_type = media
        for name, value in kept:
            setattr(settings, name, value)


def read_picture(path: Path) -> Pixels16:
    """(h, w, 3) uint16 stored values of an 8- or 16-bit picture file, the top row first.

    Raises ValueError when the file can't be read.
    """
    image = bpy.data.images.load(str(path))
    try:
        image.colorspace_settings.name = "Non-Color"
        image.alpha_mode = "CHANNEL_PACKED"
        pixels = read_pixels(image)
        return np.rint(np.clip(pixels[::-1, :, :3], 0.0, 1.0) * 65535.0).astype(np.uint16)
    finally:
        bpy.data.images.remove(image)
