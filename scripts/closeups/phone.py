"""What file does a phone or a camera make of the light? Lens blur, radial bend, noise, tone curve, orientation tag, JPEG."""

from __future__ import annotations

import io
from dataclasses import dataclass
from typing import Any

import numpy as np

Floats = Any


@dataclass(frozen=True)
class Picture:
    """How a file is made. blur: sigma in pixels. read, shot: noise as `scripts/photos/camera.py` has it. tone: how strong the
    phone's S curve is, 0 for plain sRGB. quality: JPEG's. orientation: how the file is stored (CIPA DC-008). focal_35mm: what
    its Exif says, None for no Exif."""

    blur: float = 0.6
    read: float = 0.0015
    shot: float = 3.5e-5
    tone: float = 0.35
    quality: int = 93
    orientation: int = 1
    focal_35mm: float | None = None


def developed(light: Floats, picture: Picture, *, exposure: float, seed: int) -> bytes:
    """The JPEG of linear `light` (h, w, 3), row 0 at the top, as it is held; exposure: factor on the light."""
    from PIL import Image

    rng = np.random.default_rng(seed)
    seen = _blurred(light * exposure, picture.blur)
    seen = seen + np.sqrt(picture.read**2 + picture.shot * np.maximum(seen, 0)) * rng.standard_normal(seen.shape)
    shown = toned(encoded(np.clip(seen, 0, 1)), picture.tone)
    pixels = stored(np.round(255 * shown).astype(np.uint8), picture.orientation)
    packed = io.BytesIO()
    image = Image.fromarray(np.ascontiguousarray(pixels))
    exif = Image.Exif()
    if picture.orientation != 1:
        exif[0x0112] = picture.orientation
    if picture.focal_35mm is not None:
        exif.get_ifd(0x8769)[0xA405] = round(picture.focal_35mm)
    image.save(
        packed, "JPEG", quality=picture.quality, subsampling=0, exif=exif.tobytes() if len(exif) or picture.focal_35mm else b""
    )
    return packed.getvalue()


def toned(shown: Floats, amount: float) -> Floats:
    """An S curve on display values: darker shadows, softer lights, ends kept."""
    return shown + amount * 0.35 * shown * (1 - shown) * (2 * shown - 0.75)


def encoded(linear: Floats) -> Floats:
    """IEC 61966-2-1."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.power(np.maximum(linear, 1e-9), 1 / 2.4) - 0.055)


def stored(pixels: Any, orientation: int) -> Any:
    """Pixels as a file of that orientation holds them."""
    if orientation in (2, 3, 6, 7):
        pixels = pixels[:, ::-1]
    if orientation in (3, 4, 7, 8):
        pixels = pixels[::-1]
    if orientation in (5, 6, 7, 8):
        pixels = np.swapaxes(pixels, 0, 1)
    return pixels


def _blurred(seen: Floats, sigma: float) -> Floats:
    taps = np.exp(-0.5 * (np.arange(-3, 4) / max(sigma, 1e-3)) ** 2)
    taps /= taps.sum()
    for axis in (0, 1):
        padded = np.pad(seen, [(3, 3) if dimension == axis else (0, 0) for dimension in range(3)], mode="edge")
        seen = sum(tap * np.take(padded, np.arange(seen.shape[axis]) + step, axis) for step, tap in enumerate(taps))
    return seen
