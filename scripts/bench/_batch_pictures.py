"""What a picture keeps: the relief of a still beside one of many more samples, and the calm of what stands still in a turn."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

BANDS_MM = (0.1, 0.5)
"""Wavelengths of the relief that is looked at."""
MARGIN = 0.12
"""The share of a frame's sides at its upper corners that the turning subject and its shadow never reach."""


def luminance(path: Path) -> Any:
    """(h, w) light of a picture's 16-bit original or of an 8-bit picture, from its display numbers."""
    from blender_addon.scene.delivery.originals import read_picture

    numbers = read_picture(path) / 65535.0
    linear = np.where(numbers <= 0.04045, numbers / 12.92, ((numbers + 0.055) / 1.055) ** 2.4)
    return linear @ np.array([0.2126, 0.7152, 0.0722])


def relief_kept_percent(stage: Any, folder: Path, *, size: int, times: int) -> float:
    """How much of the fine shading of the close look a final keeps: in percent of one with `times` as many samples.

    Both in log luminance, on the piece's sharp pixels, in the band of 0.1 to 0.5 mm: the part of the final's that goes with the
    reference's, over the reference's own (a regression through zero, so that noise neither adds nor takes away).
    """
    from blender_addon.steps.delivery._pictures import Task, render_one, set_up_for
    from blender_addon.steps.delivery.render import PRESETS

    name = "detail"
    shot = stage.require("shot", name)
    final = PRESETS["final"].quality
    dear = replace(final, samples=times * final.samples, noise=0.0, denoise=False)
    pictures = []
    for number, quality in enumerate((final, dear)):
        task = Task(folder / f"relief{number}.png", name, (size, size * 2 // 3), 0.0, f"relief{number}")
        with set_up_for(stage, task, quality, "cpu"):
            render_one(stage, task, original=False)
        pictures.append(np.log(luminance(task.path) + 1e-3))
    width_mm = float(shot["bozzetto_format"][0]) / float(shot["bozzetto_magnification"])
    found, true = (_band(picture, width_mm / size) for picture in pictures)
    middle = tuple(slice(side // 4, side - side // 4) for side in found.shape)  # where the close look is sharp
    return 100.0 * float((found[middle] * true[middle]).sum() / (true[middle] ** 2).sum())


def _band(picture: Any, mm_a_pixel: float) -> Any:
    """The part of a picture whose wavelengths lie in the band."""
    height, width = picture.shape
    fy, fx = np.fft.fftfreq(height, mm_a_pixel)[:, None], np.fft.rfftfreq(width, mm_a_pixel)[None, :]
    frequency = np.hypot(fx, fy)
    kept = (frequency >= 1.0 / BANDS_MM[1]) & (frequency <= 1.0 / BANDS_MM[0])
    window = np.hanning(height)[:, None] * np.hanning(width)[None, :]
    return np.fft.irfft2(np.fft.rfft2((picture - picture.mean()) * window) * kept, (height, width))


def flicker_percent(frames: Sequence[Path]) -> float:
    """How much the light of what does not move changes from frame to frame, in percent of it: the median over pixels of the
    upper corners of a turn of the standard deviation over the frames."""
    lights = np.array([luminance(frame) for frame in frames])
    height, width = lights.shape[1:]
    tall, wide = round(height * MARGIN), round(width * MARGIN)
    still = np.concatenate(
        [lights[:, :tall, :wide].reshape(len(frames), -1), lights[:, :tall, -wide:].reshape(len(frames), -1)], 1
    )
    return 100.0 * float(np.median(still.std(axis=0) / (still.mean(axis=0) + 1e-6)))


def piece_light(folder: Path, cutout: Path) -> float:
    """The median light of the piece in a rendered still, by the mask of its cut-out."""
    import bpy

    from blender_addon.scene.images import read_pixels

    image = bpy.data.images.load(str(cutout))
    try:
        alpha = read_pixels(image)[::-1, :, 3]
    finally:
        bpy.data.images.remove(image)
    return float(np.median(luminance(folder)[alpha > 0.99]))
