"""Reads from Blender and the sheet what the verdict on a scan's quality needs: its picture, its size, the wanted stills."""

from __future__ import annotations

from collections.abc import Callable
from typing import TYPE_CHECKING

import numpy as np

from ...core.mesh.triangles import TriangleMesh
from ...core.photos.seen import grey_of
from ...core.scan.quality.measuring import Picture
from ..images import read_pixels, working_size
from ..surface.base_picture import picture_of

if TYPE_CHECKING:
    import bpy

    from ...job.sheet import JobSheet

FINAL = 3000
"""Longer side of a final picture in px where the sheet gives no size."""
ASSUMED_MM = 100.0
"""Longest side assumed for a piece of unknown size, a small object on a desk: a guess."""


def asked_pixels(sheet: JobSheet) -> int:
    """Longer side of the sheet's stills, px."""
    try:
        return int(getattr(sheet["render"], "size", None) or FINAL)
    except KeyError:
        return FINAL


def length_of(scan: bpy.types.Object, mesh: TriangleMesh, sheet: JobSheet) -> tuple[float, bool]:
    """(mm per unit, whether that is assumed), from the height on the sheet, from the file's unit, or from `ASSUMED_MM`.

    The height is taken for the longest side: a few percent do not matter here.
    """
    longest = max(float(mesh.size.max()), 1e-30)
    try:
        height = getattr(sheet["orientation"], "height", None)
    except KeyError:
        height = None
    if height:
        return float(height) / longest, False
    known = float(scan.get("bozzetto_mm_per_unit", 0.0))
    if known > 0.0:
        return known, not bool(scan.get("bozzetto_unit_known", False))
    return ASSUMED_MM / longest, True


def picture_of_scan(scan: bpy.types.Object) -> Callable[[], Picture | None]:
    """What makes the picture that colours a scan's first material, None without one, of pixels that are read now: it may be
    called beside the window."""
    image = picture_of(scan.material_slots[0].material) if scan.material_slots else None
    if image is None or not image.size[0]:
        return lambda: None
    size = working_size(image)
    raw, reduced = read_pixels(image, limit=max(size)), image.size[0] / size[0]

    def reduced_picture() -> Picture:
        pixels = np.clip(raw[..., :3], 0.0, 1.0)
        return Picture(grey_of((255.0 * pixels + 0.5).astype(np.uint8)), reduced)

    return reduced_picture
