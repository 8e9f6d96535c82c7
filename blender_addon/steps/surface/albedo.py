"""Removes the room's light from the scan's texture, so that it can be lit afresh."""

from __future__ import annotations

from functools import partial
from typing import TYPE_CHECKING

import numpy as np

from ...core.arrays import Floats
from ...core.rasters import bilinear
from ...core.srgb import encode
from ...core.surface.albedo.removal import LightRemoved, without_light
from ...core.surface.relief.recovery import Photographed
from ...core.surface.texels import extend
from ...core.surface.textured_surface import TexturedSurface
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


def run(stage: Stage, settings: Settings) -> Run:
    """Offer an albedo image for the piece and one for the stand, if they have textures."""
    figures: dict[str, object] = {}
    done: list[str] = []
    kept: list[str] = []
    if not settings.on or settings.shading == PAINT:
        return Result("The texture keeps its light, as asked", {})
    for place, role in enumerate(("piece", "stand")):
        item = stage.find(role)
        if item is None:
            continue
        yield Progress(place / 2, f"Reading the texture of the {role}")
        other = stage.find("stand" if role == "piece" else "piece")
        working = Progress(place / 2 + 0.05, f"Reading the texture of the {role}")
        found = yield from reading(item, working, occluders=(other,) if other else ())
        if isinstance(found, str):
            stage.note(f"The {role} {found}: there is no light to take out")
            continue
        if found.surface.on_vertices:
            stage.note(f"The {role} has vertex colours and no texture image: they keep their light")
            continue
        yield Progress(place / 2 + 0.1, f"Taking the light out of the {role}")
        shading = stage.find("relief_shading", role)
        relief = None if shading is None else _log_shading(shading, found.surface)
        work = partial(
            without_light, found.surface, found.colours, relief=relief, occluders=found.occluders, seed=stage.seed,
            as_photo=settings.shading == PHOTO,
        )  # fmt: skip
        removed = yield from aside(work, Progress(place / 2 + 0.2, f"Taking the light out of the {role}"))
        if removed.untouched:
            stage.note(f"The texture of the {role} shows no light, so it is kept as it is")
            kept.append(role)
        else:
            done.append(role)
        yield Progress(place / 2 + 0.4, f"Keeping the colours of the {role}")
        painting = partial(_raster, found, removed, settings.strength)
        raster = yield from aside(painting, Progress(place / 2 + 0.45, f"Keeping the colours of the {role}"))
        yield Progress(place / 2 + 0.48, f"Packing the colours of the {role}", blocking=True)
        image = make_image(f"Albedo {role}", raster)
        stage.offer("albedo", image, key=role, name=f"Albedo {role}")
        figures[f"{role}_shading_spread"] = round(float(np.std(np.log(removed.shading.mean(axis=1)))), 4)
        figures[f"{role}_log_spread_before"] = round(removed.deviation_before, 4)
        figures[f"{role}_log_spread_after"] = round(removed.deviation_after, 4)
    if kept and not done:
        return Result(f"The texture of the {' and the '.join(kept)} shows no light and is kept as it is", figures)
    if not done:
        return Result("No texture to take light out of", figures)
    return Result(f"Took the light out of the {' and the '.join(done)}", figures)


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
