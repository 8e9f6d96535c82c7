"""Removes the room's light from the scan's texture, so that it can be lit afresh."""

from __future__ import annotations

from collections.abc import Generator
from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from ...core.arrays import Floats
from ...core.rasters import bilinear
from ...core.records import record
from ...core.srgb import encode
from ...core.surface.albedo.removal import LightRemoved, without_light
from ...core.surface.relief.recovery import Photographed
from ...core.surface.texels import extend
from ...core.surface.textured_surface import TexturedSurface
from ...core.threads import in_parallel
from ...job.files.aside import aside
from ...job.step import Progress, Result, Run
from ...scene.images import make_image, read_pixels
from ...scene.stage import Stage
from ...scene.surface.light_decisions import PAINT, PHOTO
from ...scene.surface.photographed import reading
from .declared.albedo import Settings

if TYPE_CHECKING:
    import bpy

MARGIN = 8  # texels by which colours are extended beyond the UV islands
MOST_TOGETHER = 3_000_000
"""Texels up to which piece and stand are worked on at the same time; beyond, one after the other, to bound memory."""


@record
class _Texture:
    """A part's texture before its light is taken out. relief: (n,) log of the shading of the relief that was read from it."""

    role: str
    found: Photographed
    relief: Floats | None


def run(stage: Stage, settings: Settings) -> Run:
    """Offer an albedo image for the piece and one for the stand, if they have textures."""
    if not settings.on or settings.shading == PAINT:
        return Result("The texture keeps its light, as asked", {})
    textures: list[_Texture] = []
    for place, role in enumerate(("piece", "stand")):
        yield Progress(0.2 * place, f"Reading the texture of the {role}")
        textures += yield from _read(stage, role, Progress(0.2 * place + 0.05, f"Reading the texture of the {role}"))
    parts = " and the ".join(texture.role for texture in textures)
    figures: dict[str, object] = {}
    untouched: list[str] = []
    work = partial(_without_light, seed=stage.seed, as_photo=settings.shading == PHOTO, strength=settings.strength)
    together = sum(len(texture.found.surface) for texture in textures) <= MOST_TOGETHER
    taking = in_parallel(work, textures) if together else map(work, textures)
    done = yield from aside(lambda: list(taking), Progress(0.4, f"Taking the light out of the {parts}"))
    for role, raster, removed in done:
        yield Progress(0.9, f"Packing the colours of the {role}", blocking=True)
        stage.offer("albedo", make_image(f"Albedo {role}", raster), key=role, name=f"Albedo {role}")
        if removed.untouched:
            stage.note(f"The texture of the {role} shows no light, so it is kept as it is")
            untouched.append(role)
        figures[f"{role}_shading_spread"] = round(float(np.std(np.log(removed.shading.mean(axis=1)))), 4)
        figures[f"{role}_log_spread_before"] = round(removed.deviation_before, 4)
        figures[f"{role}_log_spread_after"] = round(removed.deviation_after, 4)
    if not textures:
        return Result("No texture to take light out of", figures)
    if len(untouched) == len(textures):
        return Result(f"The texture of the {parts} shows no light and is kept as it is", figures)
    lit = " and the ".join(texture.role for texture in textures if texture.role not in untouched)
    return Result(f"Took the light out of the {lit}", figures)


def _read(stage: Stage, role: str, working: Progress) -> Generator[Progress, None, list[_Texture]]:
    """The texture of a part, or none with a note that says why."""
    item = stage.find(role)
    if item is None:
        return []
    other = stage.find("stand" if role == "piece" else "piece")
    found = yield from reading(item, working, occluders=(other,) if other else ())
    if isinstance(found, str):
        stage.note(f"The {role} {found}: there is no light to take out")
        return []
    if found.surface.on_vertices:
        stage.note(f"The {role} has vertex colours and no texture image: they keep their light")
        return []
    shading = stage.find("relief_shading", role)
    return [_Texture(role, found, None if shading is None else _log_shading(shading, found.surface))]


def _without_light(texture: _Texture, *, seed: int, as_photo: bool, strength: float) -> tuple[str, Floats, LightRemoved]:
    """The part's role, its albedo as `_raster` gives it, and what was taken out."""
    found = texture.found
    removed = without_light(
        found.surface, found.colours, relief=texture.relief, occluders=found.occluders, seed=seed, as_photo=as_photo
    )
    return texture.role, _raster(found, removed, strength), removed


def _log_shading(image: bpy.types.Image, surface: TexturedSurface) -> Floats:
    """(n,) natural logarithm of the relief's shading at the surface's texels. Early versions stored half of it in 8 bits."""
    factor = _sampled(image, surface) * (1.0 if image.is_float else 2.0)
    return np.log(np.maximum(factor, 0.05))


def _sampled(image: bpy.types.Image, surface: TexturedSurface) -> Floats:
    """(n,) first channel of an image with the same UVs, of any size, at the surface's texels."""
    pixels = read_pixels(image)[..., 0]
    (height, width), (rows, columns) = pixels.shape, surface.texels.shape
    row, column = np.divmod(surface.texels.index, columns)
    return bilinear(pixels, (column + 0.5) * width / columns - 0.5, (row + 0.5) * height / rows - 0.5)


def _raster(found: Photographed, removed: LightRemoved, strength: float) -> Floats:
    """(h, w, 3) display-encoded albedo, extended beyond the UV islands."""
    kept = found.colours + strength * (removed.albedo - found.colours)
    raster = extend(found.surface.texels.scatter(kept), found.surface.texels.mask(), MARGIN)
    empty = raster.sum(axis=2) == 0
    raster[empty] = np.median(kept, axis=0)
    if found.shared is not None:
        index, colours = found.shared
        raster[np.divmod(index, raster.shape[1])] = colours
    return encode(np.clip(raster, 0, 1))
