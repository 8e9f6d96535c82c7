"""What does a phone's texture make of the light that it saw? Lens blur, shot and read noise, eight bits, JPEG."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import numpy as np

from blender_addon.core.surface.textured_surface import TexturedSurface

Floats = Any


@dataclass(frozen=True)
class Phone:
    """blur: sigma in texels. read: standard deviation of the noise in the dark, of white. shot: variance a unit of light, of
    white; a mean grey of 0.2 is then off by 1.5 %, what some photos blended into a texture leave of a phone's noise (common
    practice; no value of one phone). white: light of the brightest hundredth. quality: JPEG's."""

    blur: float = 0.7
    read: float = 0.0015
    shot: float = 3.5e-5
    white: float = 0.8
    quality: int = 92


def exposed(surface: TexturedSurface, light: Floats, phone: Phone = Phone(), *, seed: int) -> Floats:
    """(n, 3) linear colours that the texture holds of `light` (n, 3) that leaves the texels."""
    rng = np.random.default_rng(seed)
    mask = surface.texels.mask()
    light = light * (phone.white / max(float(np.quantile(light, 0.99)), 1e-9))
    raster = _blurred(surface.texels.scatter(light.astype(np.float32)), mask, phone.blur)
    spread = np.sqrt(phone.read**2 + phone.shot * np.maximum(raster, 0.0))
    raster = np.clip(raster + spread * rng.standard_normal(raster.shape, np.float32), 0.0, 1.0)
    shown = np.round(255.0 * np.where(mask[..., None], _encoded(raster), 0.35)).astype(np.uint8)
    return _decoded(_through_jpeg(shown, phone.quality).reshape(-1, 3)[surface.texels.index] / np.float32(255.0))


def _blurred(raster: Floats, mask: Any, sigma: float) -> Floats:
    """Gaussian mean over the covered texels, by five taps a side."""
    taps = np.exp(-0.5 * (np.arange(-2, 3) / sigma) ** 2)
    parts = [raster * mask[..., None], mask[..., None].astype(np.float32)]
    for axis in (0, 1):
        parts = [sum(tap * np.roll(part, step - 2, axis) for step, tap in enumerate(taps)) for part in parts]
    return (parts[0] / np.maximum(parts[1], 1e-6)).astype(np.float32)


def _encoded(linear: Floats) -> Floats:
    """IEC 61966-2-1, implemented again so that the camera does not depend on the code under test."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.power(np.maximum(linear, 1e-9), 1 / 2.4) - 0.055)


def _decoded(shown: Floats) -> Floats:
    return np.where(shown <= 0.04045, shown / 12.92, ((shown + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _through_jpeg(pixels: Any, quality: int) -> Any:
    from PIL import Image

    packed = io.BytesIO()
    Image.fromarray(np.ascontiguousarray(pixels[::-1])).save(packed, "JPEG", quality=quality, subsampling=0)
    return np.asarray(Image.open(packed).convert("RGB"))[::-1].copy()
