"""Joins the base pictures of a scan with several into one atlas, and moves the faces' UVs accordingly."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from ...core.arrays import Floats, Ints
from ...core.mesh.triangles import TriangleMesh
from ...core.srgb import encode
from ...core.surface.atlas import Atlas, assembled, moved_uv, packed, repeating
from ..images import make_image, read_pixels
from .textures import Textures

if TYPE_CHECKING:
    import bpy

NEUTRAL = {"base": (0.5, 0.5, 0.5), "normal": (0.5, 0.5, 1.0), "roughness": (0.8, 0.8, 0.8), "occlusion": (1.0, 1.0, 1.0)}
"""The stored value of each map for a material that has no picture of it."""
PLAIN = (16, 16)
"""Size in px of the atlas cell of a material without a picture."""
MOST_REPEATING = 0.01
"""Share of faces with UVs beyond their picture from which pictures are not joined: a guess."""
MOST_ALIKE = 32
"""Slots with the same pictures, or none, that are kept apart; each costs as much time as the first."""


def joined_pictures(
    mesh: TriangleMesh, textures: Sequence[Textures], plain: Sequence[tuple[float, float, float]], *, say: Callable[[str], None]
) -> tuple[TriangleMesh, list[Textures]]:
    """The mesh with one slot and one set of textures where the slots have different base pictures, or where very many have the
    same; else both unchanged.

    plain: the linear colour of each slot's material, for those without a picture. say: called with a sentence on what was done.
    """
    held = {tuple((part, found.images[part].name) for part in sorted(found.images)) for found in textures}
    if len(textures) > MOST_ALIKE and len(held) == 1:
        return replace(mesh, material=np.zeros(len(mesh.faces), np.int32)), list(textures[:1])
    bases = [found.images.get("base") for found in textures]
    different = {image.name for image in bases if image is not None}
    if len(different) < 2 or mesh.uv is None or mesh.material is None:
        return mesh, list(textures)
    pictured = np.array([image is not None for image in bases])[mesh.material]
    if float(repeating(mesh.uv[pictured]).mean()) > MOST_REPEATING:
        say("its pictures repeat over the surface, so they can't be joined; relief is read from the largest alone")
        return mesh, list(textures)
    cells: list[tuple[int, int]] = []
    number: dict[object, int] = {}
    which = np.zeros(len(textures), int)
    for slot, image in enumerate(bases):
        key = ("plain", slot) if image is None else image.name
        if key not in number:
            number[key] = len(cells)
            cells.append(PLAIN if image is None else (image.size[0], image.size[1]))
        which[slot] = number[key]
    atlas = packed(cells)
    uv = np.where(pictured[:, None, None], mesh.uv, np.float32(0.5))  # a plain material maps to the centre of its cell
    joined = Textures(found={part: found.found[part] for found in reversed(textures) for part in found.images})
    for part in joined.found:
        joined.images[part] = _assembled_part(part, atlas, textures, which, plain)
    say(f"its {len(different)} base pictures are joined into one of {atlas.width} x {atlas.height}")
    moved = moved_uv(uv, which[mesh.material], atlas)
    return replace(mesh, uv=moved, material=np.zeros(len(mesh.faces), np.int32)), [joined]


def _assembled_part(
    part: str, atlas: Atlas, textures: Sequence[Textures], which: Ints, plain: Sequence[tuple[float, float, float]]
) -> bpy.types.Image:
    """One image with that map (base, normal, ...) of all slots."""
    pictures: list[Floats] = [np.full((1, 1, 3), NEUTRAL[part], np.float32) for _ in atlas.cells]
    for slot, found in enumerate(textures):
        image = found.images.get(part)
        if image is not None:
            stored = read_pixels(image, limit=max(atlas.width, atlas.height))[..., :3]
            stored = encode(np.clip(stored, 0, 1)) if part == "base" and image.is_float else stored
            if part == "normal" and found.flipped:
                stored = np.concatenate([stored[..., :1], 1.0 - stored[..., 1:2], stored[..., 2:]], axis=2)
            pictures[which[slot]] = stored
        elif part == "base":
            pictures[which[slot]] = np.broadcast_to(encode(np.clip(np.array(plain[slot], np.float32), 0, 1)), (1, 1, 3))
    values = assembled(atlas, pictures, np.array(NEUTRAL[part], np.float32))
    return make_image(f"joined {part}", values, data=part != "base")
