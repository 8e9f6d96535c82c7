"""A picture file as JPEG, by Blender's writer, with labels of ours."""

from __future__ import annotations

from pathlib import Path

import bpy

from ....core.files.pictures.jpeg_labels import labelled
from ....core.files.pictures.labels import Labels


def write_jpeg(source: Path, draft: Path, *, quality: int, labels: Labels) -> None:
    """Write the picture file `source` of 8 bits to `draft`; it takes about four bytes a pixel of memory.

    Raises RuntimeError when Blender can't, ValueError when what it wrote is no JPEG file.
    """
    image = bpy.data.images.load(str(source))
    try:
        if not image.size[0]:  # asking for the size reads the file: until then there is nothing to be saved
            raise ValueError(f'"{source}" can\'t be read')
        image.filepath_raw, image.file_format = str(draft), "JPEG"
        image.save(quality=quality)
    finally:
        bpy.data.images.remove(image)
    draft.write_bytes(labelled(draft.read_bytes(), labels))
