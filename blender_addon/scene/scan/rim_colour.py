"""Finds the place on a hole's rim whose colour the cap should take: the one nearest to the median colour along the rim."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING

import numpy as np

from ...core.arrays import Floats
from ...core.mesh.holes import Rim
from ...core.mesh.triangles import TriangleMesh
from ...core.rasters import colours_at
from ..images import read_pixels
from ..surface.base_picture import picture_of

if TYPE_CHECKING:
    import bpy

MOST_PIXELS = 40_000_000
"""Textures with more pixels are not read for a cap (16 bytes of memory per pixel)."""


def usual_place(mesh: TriangleMesh, materials: Sequence[bpy.types.Material | None]) -> Callable[[Rim], int]:
    """A function from a rim to the index of its edge whose face comes nearest to the rim's median colour.

    The pictures are read here, once, so that the function can be called from another thread.
    """
    read: dict[int, Floats] = {}
    used = [0] if mesh.material is None else np.unique(mesh.material).tolist()
    for slot in used if mesh.uv is not None else ():
        image = picture_of(materials[slot]) if slot < len(materials) else None
        if image is not None and 0 < image.size[0] * image.size[1] <= MOST_PIXELS:
            read[slot] = read_pixels(image)

    def place(rim: Rim) -> int:
        middle = len(rim.faces) // 2
        if mesh.uv is None:
            return middle
        slots = np.zeros(len(rim.faces), int) if mesh.material is None else mesh.material[rim.faces]
        slot = int(np.bincount(slots).argmax())
        pixels = read.get(slot)
        own = np.flatnonzero(slots == slot)
        if pixels is None:
            return int(own[len(own) // 2])
        colours = colours_at(pixels, mesh.uv[rim.faces[own]].mean(axis=1))
        return int(own[np.linalg.norm(colours - np.median(colours, axis=0), axis=1).argmin()])

    return place
