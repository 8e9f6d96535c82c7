"""Two pictures of one shot over each other with a line between them that follows the mouse, or side by side."""

from __future__ import annotations

from pathlib import Path

import bpy
import gpu
import numpy as np
from bpy.props import StringProperty

from ...scene.images import read_pixels
from ..hands.aiming import is_over
from ..hands.view_tool import ViewTool
from ..overlays.drawn_lines import HUE, draw_words

MARGIN = 24.0
"""Pixels left free round the pictures, at an interface scale of 1."""


class BOZZETTO_OT_wipe(ViewTool, bpy.types.Operator):
    """Compare two pictures: the line between them follows the mouse. S: side by side. Esc or a click ends"""

    bl_idname = "bozzetto.wipe"
    bl_label = "Compare"
    bl_options = {"INTERNAL"}

    left: StringProperty(description="The picture on the left", subtype="FILE_PATH", options={"SKIP_SAVE"})
    right: StringProperty(description="The picture on the right", subtype="FILE_PATH", options={"SKIP_SAVE"})
    left_words: StringProperty(description="What the left one shows", options={"SKIP_SAVE"})
    right_words: StringProperty(description="What the right one shows", options={"SKIP_SAVE"})

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Load both and show them."""
        paths = [Path(self.left), Path(self.right)]
        gone = next((path for path in paths if not path.is_file()), None)
        if gone is not None:
            self.report({"INFO"}, f'"{gone.name}" is no longer there')
            return {"CANCELLED"}
        self._textures = [texture_of(path) for path in paths]
        self._share, self._beside = 0.5, False
        return self.begin(context, "The line follows the mouse   S: side by side   Esc or a click ends")

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Follow the mouse."""
        if event.type in {"ESC", "RET", "RIGHTMOUSE"} and event.value == "PRESS":
            self.close(context)
            return {"FINISHED"}
        if not is_over(self._region, event):
            return {"PASS_THROUGH"}
        if event.type == "S" and event.value == "PRESS":
            self._beside = not self._beside
        if event.type == "MOUSEMOVE":
            (x, _), (width, _) = self._frame()
            self._share = min(max((event.mouse_x - self._region.x - x) / max(width, 1.0), 0.0), 1.0)
        if event.type == "LEFTMOUSE" and event.value == "PRESS":
            self.close(context)
            return {"FINISHED"}
        context.area.tag_redraw()
        return {"RUNNING_MODAL"}

    def _free(self) -> tuple[float, float]:
        """Width and height of the view that no sidebar covers, in pixels."""
        sidebar = next((part for part in bpy.context.area.regions if part.type == "UI"), None)
        covered = sidebar.width if sidebar is not None and sidebar.width > 1 else 0
        return float(self._region.width - covered), float(self._region.height)

    def _frame(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Lower left corner and size of the picture, or of the left one of two side by side."""
        width, height = self._free()
        margin = MARGIN * bpy.context.preferences.system.ui_scale
        room = ((width - margin) / (2.0 if self._beside else 1.0) - margin, height - 4.0 * margin)
        texture = self._textures[0]
        scale = min(room[0] / texture.width, room[1] / texture.height)
        size = (scale * texture.width, scale * texture.height)
        return (margin + 0.5 * (room[0] - size[0]), 0.5 * (height - size[1])), size

    def draw_over(self) -> None:
        """Both pictures, the line, and what each shows."""
        (x, y), (width, height) = self._frame()
        _fill(0.0, 0.0, *self._free(), (0.06, 0.06, 0.06, 0.92))
        step = width + MARGIN * bpy.context.preferences.system.ui_scale
        if self._beside:
            _picture(self._textures[0], x, y, width, height, 0.0, 1.0)
            _picture(self._textures[1], x + step, y, width, height, 0.0, 1.0)
        else:
            _picture(self._textures[0], x, y, width, height, 0.0, self._share)
            _picture(self._textures[1], x, y, width, height, self._share, 1.0)
            line = x + self._share * width
            _fill(line - 1.0, y, 2.0, height, (*HUE, 1.0))
        below = y - 22.0 * bpy.context.preferences.system.ui_scale
        draw_words([self.left_words], x, below)
        end = x + step if self._beside else x + width - 7.0 * len(self.right_words) * bpy.context.preferences.system.ui_scale
        draw_words([self.right_words], end, below)

    def close(self, context: bpy.types.Context) -> None:
        """Free the pictures, too."""
        self._textures = []
        super().close(context)


def texture_of(path: Path) -> gpu.types.GPUTexture:
    """A picture file as the graphics card takes it, in the colours that the screen shows."""
    image = bpy.data.images.load(str(path))
    try:
        image.colorspace_settings.name = "Non-Color"
        pixels = np.ascontiguousarray(read_pixels(image), np.float32)
    finally:
        bpy.data.images.remove(image)
    height, width = pixels.shape[:2]
    return gpu.types.GPUTexture((width, height), format="RGBA16F", data=gpu.types.Buffer("FLOAT", pixels.size, pixels.ravel()))


def _picture(texture: gpu.types.GPUTexture, x: float, y: float, width: float, height: float, start: float, end: float) -> None:
    """The part of a picture between two shares of its width."""
    from gpu_extras.batch import batch_for_shader

    if end <= start:
        return
    left, right = x + start * width, x + end * width
    shader = gpu.shader.from_builtin("IMAGE")
    places = ((left, y), (right, y), (right, y + height), (left, y + height))
    batch = batch_for_shader(
        shader, "TRI_FAN", {"pos": places, "texCoord": ((start, 0.0), (end, 0.0), (end, 1.0), (start, 1.0))}
    )
    shader.bind()
    shader.uniform_sampler("image", texture)
    batch.draw(shader)


def _fill(x: float, y: float, width: float, height: float, colour: tuple[float, float, float, float]) -> None:
    """An even rectangle."""
    from gpu_extras.batch import batch_for_shader

    shader = gpu.shader.from_builtin("UNIFORM_COLOR")
    places = ((x, y), (x + width, y), (x + width, y + height), (x, y + height))
    gpu.state.blend_set("ALPHA")
    shader.uniform_float("color", colour)
    batch_for_shader(shader, "TRI_FAN", {"pos": places}).draw(shader)
    gpu.state.blend_set("NONE")


CLASSES = (BOZZETTO_OT_wipe,)
