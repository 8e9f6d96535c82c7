"""Converts a picture file to JPEG by Blender's writer and adds profile, resolution and metadata."""

from __future__ import annotations

from pathlib import Path

import bpy

from ....core.files.pictures.jpeg_labels import labelled
from ....core.files.pictures.labels import Labels


def write_jpeg(source: Path, draft: Path, *, quality: int, labels: Labels) -> None:
    """Write the 8-bit picture file `source` to `draft`; takes about four bytes of memory per pixel.

    Raises RuntimeError when Blender can't write, ValueError when the result is no JPEG file.

    quality: 1 to 100.
    """
    image = bpy.data.images.load(str(source))
    try:
        if not image.size[0]:  # reading the size loads the file; until then there is nothing to save
            raise ValueError(f'"{source}" can\'t be read')
        image.filepath_raw, image.file_format = str(draft), "JPEG"
        image.save(quality=quality)
    finally:
        bpy.data.images.remove(image)
    draft.write_bytes(labelled(draft.read_bytes(), labels))
