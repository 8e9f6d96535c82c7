"""Brings back the fine relief that the photo texture still shows and the mesh has lost."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import bpy
import numpy as np

from ...core.relief.bandpass import band_pass
from ...core.relief.normal_maps import encode, slopes_from_raster, tangent_frames, tangent_space
from ...core.relief.surface import Surface, read_surface
from ...core.relief.texels import extend, surface_frames
from ...core.srgb import luminance
from ...job.settings import choice, length, number
from ...job.step import Progress, Result, Run
from ...scene.images import make_image
from ...scene.meshes import read_mesh
from ...scene.surface_texture import read_linear, shows, surface_texture

LABEL = "Relief"
NEEDS = ("piece",)
USES = ("aligned",)
MAKES = ("relief_height", "relief_normal")
MARGIN = 8  # texels that the maps are grown past the islands
DEPTH_MM = 0.35  # height in mm of one e-fold of brightness in the band-pass effect: an effect, not a measurement


@dataclass(kw_only=True)
class Settings:
    """What relief is brought back."""

    method: str = choice(
        "band",
        [("band", "Band-pass (effect)", "Dark is deep: looks like relief, and is none")],
        help="Where the relief comes from",
    )
    strength: float | None = number(None, low=0.0, high=3.0, help="How strong it shows; by itself it follows how sure it is")
    finest: float | None = length(None, low=0.02, high=5.0, help="Finest detail in mm; by itself what the texture resolves")
    largest: float = length(3.0, low=0.1, high=20.0, help="Largest detail in mm that is taken from the texture")


def run(stage: Any, settings: Settings) -> Run:
    """Offer a height image in mm and a normal image for the piece, if it has a texture."""
    yield Progress(0.0, "Reading the texture of the piece")
    item = stage.require("piece")
    triangles = read_mesh(item, scale=1000.0)
    texture = surface_texture(item, triangles)
    if texture is None:
        stage.note("The piece has no texture image, so there is no relief to bring back")
        return Result("No texture, no relief to bring back", {"found": False})
    pixels = read_linear(bpy.data.images[texture.image])
    surface = read_surface(triangles, shows(item, triangles, texture.image), height=pixels.shape[0], width=pixels.shape[1])
    if len(surface) < 64 or surface.texel_mm <= 0:
        stage.warn("The piece's UVs cover next to nothing of the texture, so there is no relief to bring back")
        return Result("No usable UVs, no relief to bring back", {"found": False})
    yield Progress(0.3, "Looking for relief")
    finest = settings.finest or 4 * surface.texel_mm
    heights = _band(surface, pixels, finest, max(settings.largest, 2 * finest))
    yield Progress(0.7, "Making the maps")
    strength = settings.strength if settings.strength is not None else 1.0
    _offer(stage, surface, heights, finest, strength)
    deep = float(np.std(heights[surface.texels.mask()]))
    return Result(
        f"Band-pass effect between {finest:.2f} and {settings.largest:.1f} mm",
        {"found": True, "trusted_mm": round(finest, 3), "strength": strength, "height_std_mm": round(deep, 5)},
    )


def _band(surface: Surface, pixels: Any, finest: float, largest: float) -> Any:
    mask = surface.texels.mask()
    bright = np.log(np.maximum(luminance(pixels), 0.01))
    fine, coarse = (wavelength / (2 * np.pi) / surface.texel_mm for wavelength in (finest, largest))
    return DEPTH_MM * np.clip(band_pass(bright, fine, coarse, mask=mask), -0.7, 0.7)


def _offer(stage: Any, surface: Surface, heights: Any, trusted: float, strength: float) -> None:
    mask = surface.texels.mask()
    along_u, along_v = surface_frames(surface.vertices, surface.faces, surface.uv)
    slopes = slopes_from_raster(surface.texels, heights, along_u, along_v)
    frames = tangent_frames(surface.vertices, surface.faces, surface.uv, surface.vertex_normal)
    normals = tangent_space(surface.texels, frames, surface.normal, slopes)
    raster = surface.texels.scatter(encode(normals))
    raster[~mask] = (0.5, 0.5, 1.0)
    for role, values, name in (
        ("relief_height", extend(heights, mask, MARGIN), "Relief height"),
        ("relief_normal", extend(raster, mask, MARGIN), "Relief normal"),
    ):
        image = make_image(name, values, data=True, floating=True)
        image["trusted_mm"], image["strength"], image["found"] = float(trusted), float(strength), True
        stage.offer(role, image, key="piece", name=name)
