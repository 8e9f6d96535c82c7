"""What a picture keeps: the relief of a still beside one of many more samples, and the calm of what stands still in a turn."""

from __future__ import annotations

import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

BANDS_MM = (0.1, 0.5)
"""Wavelengths of the relief that is looked at."""
WINDOW = 0.08
"""The share of a large picture's sides that is rendered in its middle."""
FACING = 25.0
"""Degrees from the grey card's normal within which a part of a piece counts as facing like it."""


def luminance(path: Path) -> Any:
    """(h, w) light of a picture's 16-bit original or of an 8-bit picture, from its display numbers."""
    from blender_addon.scene.delivery.originals import read_picture

    numbers = read_picture(path) / 65535.0
    linear = np.where(numbers <= 0.04045, numbers / 12.92, ((numbers + 0.055) / 1.055) ** 2.4)
    return linear @ np.array([0.2126, 0.7152, 0.0722])


def relief_kept_percent(stage: Any, folder: Path, *, size: int, times: int, device: str = "cpu") -> float:
    """How much of the fine shading of the close look a final keeps: in percent of one with `times` as many samples.

    size: longer side of the picture, of which only the middle (`WINDOW`) is rendered. In log luminance, in the band of 0.1 to
    0.5 mm. The reference has noise of its own, which counted as relief would make any picture look smooth. So there are two, of
    other seeds, whose noise has nothing in common: what the final shares with both, over what they share,
    <f (a + b) / 2> / <a b>.
    """
    from blender_addon.steps.delivery._pictures import Task, set_up_for
    from blender_addon.steps.delivery.render import PRESETS

    shot = stage.require("shot", "detail")
    final = PRESETS["final"].quality
    dear = replace(final, samples=times * final.samples, noise=0.0, denoise=False)
    width_mm = float(shot["bozzetto_format"][0]) / float(shot["bozzetto_magnification"])
    bands = []
    for number, quality in enumerate((final, dear, dear)):
        task = Task(folder / f"relief{number}.png", "detail", (size, size * 2 // 3), 0.0, f"relief{number}")
        stage.seed = number + 1
        with set_up_for(stage, task, quality, device) as renderer:
            _only_middle(stage.scene.render)
            renderer.render(task, original=False)
        bands.append(_band(np.log(luminance(task.path) + 1e-3), width_mm / size))
    found, first, second = bands
    return 100.0 * float((found * (first + second) / 2.0).sum() / (first * second).sum())


def _only_middle(render: Any) -> None:
    """Render the middle of the picture alone; what sets a scene up for a picture takes that back."""
    render.use_border = render.use_crop_to_border = True
    render.border_min_x = render.border_min_y = 0.5 - WINDOW / 2
    render.border_max_x = render.border_max_y = 0.5 + WINDOW / 2


def _band(picture: Any, mm_a_pixel: float) -> Any:
    """The part of a picture whose wavelengths lie in the band."""
    height, width = picture.shape
    fy, fx = np.fft.fftfreq(height, mm_a_pixel)[:, None], np.fft.rfftfreq(width, mm_a_pixel)[None, :]
    frequency = np.hypot(fx, fy)
    kept = (frequency >= 1.0 / BANDS_MM[1]) & (frequency <= 1.0 / BANDS_MM[0])
    window = np.hanning(height)[:, None] * np.hanning(width)[None, :]
    return np.fft.irfft2(np.fft.rfft2((picture - picture.mean()) * window) * kept, (height, width))


def flicker_percent(frames: Sequence[Path]) -> dict[str, float]:
    """How much the light changes from frame to frame of a turned form, in percent of it; by what is looked at.

    'around': the mean over the frame's borders, where nothing moves, of each pixel's standard deviation over the frames.
    'form': the standard deviation of the mean light of the frame's middle, which a form of revolution fills alike in each view.
    """
    lights = np.array([luminance(frame) for frame in frames])
    height, width = lights.shape[1:]
    border = np.zeros((height, width), bool)
    border[: height // 8] = border[:, : width // 5] = border[:, -(width // 5) :] = True
    around = lights[:, border]
    middle = lights[:, height // 4 : 3 * height // 4, 2 * width // 5 : 3 * width // 5].mean(axis=(1, 2))
    return {
        "around": 100.0 * float((around.std(axis=0) / (around.mean(axis=0) + 1e-6)).mean()),
        "form": 100.0 * float(middle.std() / middle.mean()),
    }


@dataclass(frozen=True)
class PieceLight:
    """The median light of a piece in its still: of all of it, and of what faces as the grey card did."""

    whole: float
    facing: float


def piece_light(folder: Path) -> PieceLight:
    """Read a piece of a series from its folder: still, mask of the cut-out, .blend, and the grey card's normal.

    The whole of a piece is darker the more of it looks away from the light, however it is exposed. What looks between camera
    and main light, as a grey card is held (within `FACING` degrees), is the same surface on every form.
    """
    import bpy

    from blender_addon.scene.images import read_pixels

    image = bpy.data.images.load(str(folder / "cutouts" / "hero.png"))
    try:
        mask = read_pixels(image)[::-1, :, 3] > 0.99
    finally:
        bpy.data.images.remove(image)
    light = luminance(folder / "pictures" / "hero.png")
    card = np.array(json.loads((folder / "figures.json").read_text("utf-8"))["lighting"]["card_normal"])
    faces = mask & (_normals(folder / f"{folder.name}.blend", mask) @ card > math.cos(math.radians(FACING)))
    return PieceLight(float(np.median(light[mask])), float(np.median(light[faces])))


def _normals(blend: Path, mask: Any) -> Any:
    """(h, w, 3) unit normals of the piece where a mask of the hero's picture is set, 0 elsewhere."""
    import bpy
    from mathutils import Vector

    from .scene import opened

    stage = opened(blend)
    shot, piece = stage.require("shot", "hero"), stage.require("piece")
    stage.scene.render.resolution_x, stage.scene.render.resolution_y = mask.shape[1], mask.shape[0]
    bpy.context.view_layer.update()
    corners = [shot.matrix_world @ corner for corner in shot.data.view_frame(scene=stage.scene)]
    right, down = corners[0] - corners[3], corners[2] - corners[3]  # from the upper left one
    inverse = piece.matrix_world.inverted()
    start = inverse @ shot.matrix_world.translation
    found = np.zeros((*mask.shape, 3))
    for row, column in zip(*np.nonzero(mask), strict=True):
        aim = corners[3] + right * ((column + 0.5) / mask.shape[1]) + down * ((row + 0.5) / mask.shape[0])
        hit, _, normal, _ = piece.ray_cast(start, (inverse @ aim) - start)
        if hit:
            found[row, column] = (piece.matrix_world.to_3x3() @ Vector(normal)).normalized()
    return found
