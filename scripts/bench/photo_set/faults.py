"""Simulates a phone's photo of a render: noise, JPEG and metadata; on request blur, motion, wrong exposure or framing."""

from __future__ import annotations

import io
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

import numpy as np

from blender_addon.core.arrays import Floats


@dataclass(frozen=True, kw_only=True)
class Fault:
    """blur: Gaussian, standard deviation in pixels. disc: defocus, radius in pixels. motion: length in pixels, along `degrees`.
    stops: exposure. red, blue: stops against green. crop: shift of the frame to the right and down, as a share of it. far: how
    many times further off."""

    blur: float = 0.0
    disc: float = 0.0
    motion: float = 0.0
    degrees: float = 0.0
    stops: float = 0.0
    red: float = 0.0
    blue: float = 0.0
    crop: float = 0.0
    far: float = 1.0


NONE = Fault()


def taken(view: Any, fault: Fault = NONE, *, seed: int, noise: float = 0.006, quality: int = 92, **labels: Any) -> bytes:
    """A JPEG file of a view (h, w, 3) of 8 bits: the fault, shot and read noise, Exif. labels: see `exif_of`."""
    from PIL import Image

    linear = _linear(np.asarray(view, np.float32) / 255.0)
    linear = _framed(linear, fault)
    linear = through_lens(linear, fault)
    gain = 2.0 ** (fault.stops + np.array([fault.red, 0.0, fault.blue]))
    rng = np.random.default_rng(seed)
    linear = linear * gain.astype(np.float32)
    spread = noise * np.sqrt(0.02 + np.clip(linear, 0.0, 1.0))
    shown = _shown(np.clip(linear + spread * rng.standard_normal(linear.shape, np.float32), 0.0, 1.0))
    packed = io.BytesIO()
    picture = Image.fromarray(np.round(255.0 * shown).astype(np.uint8))
    picture.save(packed, "JPEG", quality=quality, exif=exif_of(stops=fault.stops, **labels))
    return packed.getvalue()


def exif_of(*, number: int = 0, stops: float = 0.0, model: str = "Bench 1", focal: float = 6.0, orientation: int = 1) -> bytes:
    """Labels as a phone writes them, by PIL's own writer: a second between photos, a longer time for more light."""
    from PIL import Image

    labels = Image.Exif()
    labels[0x010F], labels[0x0110], labels[0x0112] = "Bench", model, orientation
    inner = labels.get_ifd(0x8769)
    inner[0x9003] = f"2026:05:04 10:{number // 60:02d}:{number % 60:02d}"
    inner[0x829A] = float(Fraction(1, 60) * Fraction(2.0**stops).limit_denominator(1000))
    inner[0x829D], inner[0x8827], inner[0x920A] = 1.8, 100, focal
    inner[0x9209], inner[0xA402], inner[0xA403] = 16, 1, 1
    return labels.tobytes()


def through_lens(linear: Floats, fault: Fault) -> Floats:
    """Blurred by defocus and motion, in linear light."""
    from scipy.ndimage import gaussian_filter
    from scipy.signal import fftconvolve

    if fault.blur:
        linear = gaussian_filter(linear, (fault.blur, fault.blur, 0))
    for kernel in ([_disc(fault.disc)] if fault.disc else []) + (
        [_streak(fault.motion, fault.degrees)] if fault.motion else []
    ):
        half = len(kernel) // 2
        wide = np.pad(linear, ((half, half), (half, half), (0, 0)), mode="edge")
        linear = fftconvolve(wide, kernel[..., None], mode="valid", axes=(0, 1)).astype(np.float32)
    return np.maximum(linear, 0.0)


def _disc(radius: float) -> Floats:
    """A disc, its rim smoothed by ten points a pixel each way."""
    half = int(np.ceil(radius)) + 1
    fine = (np.arange(-half * 10 - 5, half * 10 + 5) + 0.5) / 10
    inside = (np.hypot(fine[:, None], fine) <= radius).astype(float)
    size = 2 * half + 1
    kernel = inside.reshape(size, 10, size, 10).mean(axis=(1, 3))
    return kernel / kernel.sum()


def _streak(length: float, degrees: float) -> Floats:
    """Even motion along a line."""
    half = int(np.ceil(length / 2)) + 1
    kernel = np.zeros((2 * half + 1, 2 * half + 1))
    t = np.linspace(-0.5, 0.5, 400) * length
    x, y = half + t * np.cos(np.radians(degrees)), half + t * np.sin(np.radians(degrees))
    for dx in (0, 1):
        for dy in (0, 1):
            column, row = np.floor(x).astype(int) + dx, np.floor(y).astype(int) + dy
            np.add.at(kernel, (row, column), np.abs(1 - dx - (x - np.floor(x))) * np.abs(1 - dy - (y - np.floor(y))))
    return kernel / kernel.sum()


def _framed(linear: Floats, fault: Fault) -> Floats:
    """The frame moved aside, or the view smaller in it; what is beyond it is as its edge."""
    height, width = linear.shape[:2]
    if fault.crop:
        row = np.clip(np.arange(height) + round(fault.crop * height * 0.3), 0, height - 1)
        column = np.clip(np.arange(width) + round(fault.crop * width), 0, width - 1)
        linear = linear[row[:, None], column]
    if fault.far > 1.0:
        from scipy.ndimage import gaussian_filter, map_coordinates

        soft = gaussian_filter(linear, (fault.far * 0.4, fault.far * 0.4, 0))
        y, x = ((np.arange(n) - n / 2) * fault.far + n / 2 for n in (height, width))
        places = np.meshgrid(y, x, indexing="ij")
        room = np.median(soft[: height // 10], axis=(0, 1))
        moved = [map_coordinates(soft[..., k], places, order=1, mode="constant", cval=room[k]) for k in range(3)]
        linear = np.stack(moved, axis=2)
    return linear


def _linear(shown: Floats) -> Floats:
    return np.where(shown <= 0.04045, shown / 12.92, ((shown + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _shown(linear: Floats) -> Floats:
    """IEC 61966-2-1, implemented again so that the camera does not depend on the code under test."""
    return np.where(linear <= 0.0031308, 12.92 * linear, 1.055 * np.maximum(linear, 1e-9) ** (1 / 2.4) - 0.055)
