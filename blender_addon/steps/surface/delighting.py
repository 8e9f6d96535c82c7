"""Takes the room's light out of the kept texture, so that it can be lit anew."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from ...core.delighting import Delit, delight
from ...core.relief.surface import Surface, read_surface
from ...core.relief.texels import extend
from ...core.srgb import encode
from ...job.settings import number, switch
from ...job.step import Progress, Result, Run
from ...scene.images import make_image
from ...scene.meshes import read_mesh
from ...scene.surface_texture import read_linear, shows, surface_texture

LABEL = "Delighting"
NEEDS = ("piece",)
USES = ("stand", "aligned")
MAKES = ("albedo",)
MARGIN = 8  # texels that colours are grown past the islands


@dataclass(kw_only=True)
class Settings:
    """How the light is taken out."""

    on: bool = switch(True, help="Take the light out of the texture; off keeps the texture as it was scanned")
    strength: float = number(1.0, low=0.0, high=1.0, help="How much of the light is taken out")


def run(stage: Any, settings: Settings) -> Run:
    """Offer an albedo image for the piece and one for the stand, as far as they have textures."""
    figures: dict[str, Any] = {}
    done: list[str] = []
    if not settings.on:
        return Result("The texture keeps its light, as asked", {})
    for place, role in enumerate(("piece", "stand")):
        item = stage.find(role)
        if item is None:
            continue
        yield Progress(place / 2, f"Reading the texture of the {role}")
        found = _read(item)
        if isinstance(found, str):
            stage.note(f"The {role} {found}, so there is no light to take out")
            continue
        surface, pixels = found
        colours = pixels.reshape(-1, 3)[surface.texels.index]
        yield Progress(place / 2 + 0.2, f"Taking the light out of the {role}")
        delit = delight(surface, colours)
        stage.offer("albedo", _image(surface, pixels, colours, delit, settings.strength, role), key=role, name=f"Albedo {role}")
        figures[f"{role}_shading_spread"] = round(float(np.std(np.log(delit.shading.mean(axis=1)))), 4)
        done.append(role)
    if not done:
        return Result("No texture to take light out of", figures)
    return Result(f"Took the light out of the {' and the '.join(done)}", figures)


def _read(item: Any) -> tuple[Surface, Any] | str:
    """The surface and its linear texture, or why there is none."""
    triangles = read_mesh(item, scale=1000.0)
    texture = surface_texture(item, triangles)
    if texture is None:
        return "has no texture image"
    pixels = read_linear(bpy.data.images[texture.image])
    surface = read_surface(triangles, shows(item, triangles, texture.image), height=pixels.shape[0], width=pixels.shape[1])
    if len(surface) < 64:
        return "has UVs that cover next to nothing of the texture"
    return surface, pixels


def _image(surface: Surface, pixels: Any, colours: Any, delit: Delit, strength: float, role: str) -> Any:
    kept = colours + strength * (delit.albedo - colours)
    raster = pixels.copy()
    raster.reshape(-1, 3)[surface.texels.index] = kept
    raster = extend(raster, surface.texels.mask(), MARGIN)
    return make_image(f"Albedo {role}", encode(np.clip(raster, 0, 1)))
