"""Makes a new shot from a box that the user drags over another shot's picture."""

from __future__ import annotations

import bpy
import gpu
import numpy as np
from bpy_extras import view3d_utils
from gpu_extras.batch import batch_for_shader

from ...core.shots.crop_box import box_shot
from ...core.shots.framing import CameraPose
from ...scene.meshes import MM
from ...scene.shots.cameras import optics_of
from ...scene.shots.lens_drivers import FORMAT, RESOLUTION
from ..lens import is_viewed, shot_in_work
from ..watched_work import run_again
from .aiming import is_navigation, is_over
from .shot_from_view import add_row
from .view_tool import ViewTool


class BOZZETTO_OT_crop_box(ViewTool, bpy.types.Operator):
    """Drag a box over the viewed shot to make a new shot of it, taken from the same place with a longer lens"""

    bl_idname = "bozzetto.crop_box"
    bl_label = "Drag a crop"
    bl_options = {"INTERNAL"}  # the run that follows is the one undo step

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Available only while a shot is viewed."""
        return super().poll(context) and is_viewed(cls, context)

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """View through the shot's camera and wait for the drag."""
        view = context.space_data.region_3d
        self._before = view.view_perspective
        view.view_perspective = "CAMERA"
        self._from: tuple[int, int] | None = None
        self._to = (0, 0)
        return self.begin(context, "Drag a box over what the new shot should show   Esc cancels", cursor="CROSSHAIR")

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Follow the drag; at its end make the shot."""
        context.area.tag_redraw()
        if event.type in {"ESC", "RIGHTMOUSE"}:
            context.space_data.region_3d.view_perspective = self._before
            self.close(context)
            return {"CANCELLED"}
        if self._from is None and (is_navigation(event) or not is_over(self._region, event)):
            return {"PASS_THROUGH"}
        here = (event.mouse_x - self._region.x, event.mouse_y - self._region.y)
        if event.type == "MOUSEMOVE":
            self._to = here
        if event.type == "LEFTMOUSE" and event.value == "PRESS":
            self._from = self._to = here
        if event.type == "LEFTMOUSE" and event.value == "RELEASE" and self._from is not None:
            self._to = here
            self.close(context)
            return self._made(context)
        return {"RUNNING_MODAL"}

    def _made(self, context: bpy.types.Context) -> set[str]:
        camera = shot_in_work(context)
        box = box_in_frame(self._region, context, camera, self._from, self._to)
        try:
            add_crop(context.scene, camera, box)
        except ValueError as error:
            self.report({"INFO"}, str(error)[:1].upper() + str(error)[1:])
            return {"CANCELLED"}
        return run_again(self, "shot")

    def draw_over(self) -> None:
        """Draw the box."""
        if self._from is None:
            return
        (x, y), (u, v) = self._from, self._to
        shader = gpu.shader.from_builtin("UNIFORM_COLOR")
        batch = batch_for_shader(shader, "LINE_STRIP", {"pos": [(x, y), (u, y), (u, v), (x, v), (x, y)]})
        shader.uniform_float("color", (1.0, 1.0, 1.0, 0.9))
        batch.draw(shader)


def box_in_frame(
    region: bpy.types.Region, context: bpy.types.Context, camera: bpy.types.Object, start: tuple[int, int], end: tuple[int, int]
) -> tuple[float, float, float, float]:
    """The box between two corners (px in the region) as (left, bottom, right, top) in the camera's frame, 0 to 1."""
    frame = [camera.matrix_world @ corner for corner in camera.data.view_frame(scene=context.scene)]
    corners = [view3d_utils.location_3d_to_region_2d(region, context.space_data.region_3d, corner) for corner in frame]
    low, high = np.min(np.array(corners), axis=0), np.max(np.array(corners), axis=0)
    first, last = ((np.array(point, float) - low) / np.maximum(high - low, 1.0) for point in (start, end))
    return (*np.minimum(first, last).tolist(), *np.maximum(first, last).tolist())


def add_crop(scene: bpy.types.Scene, camera: bpy.types.Object, box: tuple[float, float, float, float]) -> str:
    """Add a shot that shows only a box of the camera's frame; returns its name. box: as from `box_in_frame`.

    Raises ValueError for a box that is too small to be intended.
    """
    matrix = np.array(camera.matrix_basis, float)
    lens = optics_of(camera)
    pose = CameraPose(matrix[:3, 3] * MM, matrix[:3, :3] / np.linalg.norm(matrix[:3, :3], axis=0), lens.focus_mm)
    width, height = camera[RESOLUTION]
    sensor = (float(camera[FORMAT][0]), float(camera[FORMAT][1]))
    name = str(camera.get("bozzetto_key", camera.name))
    return add_row(scene, box_shot(pose, lens, sensor, width / height, box), f"{name} crop", like=name)


CLASSES = (BOZZETTO_OT_crop_box,)
