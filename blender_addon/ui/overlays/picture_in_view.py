"""Draws the latest picture of a shot into its camera's frame in the 3D view while a job runs."""

from __future__ import annotations

from pathlib import Path

import bpy
import gpu
import numpy as np
from bpy_extras import view3d_utils

from .drawn_lines import draw_words
from .drawn_pictures import draw_picture, texture_of

MOST = 1600
"""Longer side in px to which a picture is reduced before it is drawn; no view is much larger."""


class PictureInView:
    """Draws a picture into the camera's frame of one 3D view, until `close`."""

    def __init__(self, area: bpy.types.Area):
        self._region = next(region for region in area.regions if region.type == "WINDOW")
        self._area = area
        self._texture: gpu.types.GPUTexture | None = None
        self._words = ""
        self._handle: object = bpy.types.SpaceView3D.draw_handler_add(self._draw, (), "WINDOW", "POST_PIXEL")

    def show(self, path: Path, words: str) -> None:
        """Draw this picture from now on, with words beneath it. Raises ValueError where the file can't be read."""
        self._texture, self._words = texture_of(path, limit=MOST), words
        self._area.tag_redraw()

    def close(self) -> None:
        """Stop drawing."""
        if self._handle is not None:
            bpy.types.SpaceView3D.draw_handler_remove(self._handle, "WINDOW")
        self._handle = self._texture = None

    def _draw(self) -> None:
        context = bpy.context
        if self._texture is None or context.region != self._region or context.space_data.region_3d.view_perspective != "CAMERA":
            return
        camera = context.scene.camera
        if camera is None or camera.type != "CAMERA":
            return
        (x, y), (width, height) = frame_of(context, camera)
        draw_picture(self._texture, x, y, width, height)
        draw_words([self._words], x, y - 22.0 * context.preferences.system.ui_scale)


def frame_of(context: bpy.types.Context, camera: bpy.types.Object) -> tuple[tuple[float, float], tuple[float, float]]:
    """Lower left corner and size of a camera's frame in the pixels of the region that looks through it."""
    view = context.space_data.region_3d
    corners = [camera.matrix_world @ corner for corner in camera.data.view_frame(scene=context.scene)]
    places = np.array([view3d_utils.location_3d_to_region_2d(context.region, view, corner) for corner in corners])
    low, high = places.min(axis=0), places.max(axis=0)
    return (float(low[0]), float(low[1])), (float(high[0] - low[0]), float(high[1] - low[1]))
