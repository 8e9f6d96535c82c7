"""Writes the recovered relief for other programs: a 16-bit grey height map with its range as text, and a +Y normal map."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from ...core.files.pictures.png16 import png16
from ..images import read_pixels
from ..running.session import whole_file

if TYPE_CHECKING:
    import bpy


def write_relief(
    folder: Path, name: str, height: bpy.types.Image | None, normal: bpy.types.Image | None
) -> list[tuple[str, str]]:
    """Write the images that exist to `folder`; returns (file name, description) of each."""
    written = []
    if height is not None:
        values = read_pixels(height)[..., 0]
        reach = max(float(np.abs(values).max()), 1e-6)
        described = f"black is -{reach:.4f} mm, white +{reach:.4f} mm, middle grey the scan's own surface"
        png = png16(0.5 + 0.5 * values / reach, texts={"Description": described})
        written.append((f"{name}_height.png", png, f"relief, {described}"))
    if normal is not None:
        values = read_pixels(normal)[..., :3]
        described = "tangent-space normal map, +Y, 16 bits"
        written.append((f"{name}_normal.png", png16(values, texts={"Description": described}), described))
    for file, data, _ in written:
        with whole_file(folder / file) as draft:
            draft.write_bytes(data)
    return [(file, what) for file, _, what in written]
