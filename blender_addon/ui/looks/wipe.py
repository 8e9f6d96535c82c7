"""Shows two pictures of one shot on top of each other, with a dividing line that follows the mouse, or side by side."""

from __future__ import annotations

from pathlib import Path

import bpy
from bpy.props import StringProperty

from ..hands.aiming import is_over
from ..hands.view_tool import ViewTool
from ..overlays.drawn_lines import HUE, draw_words, width_of
from ..overlays.drawn_pictures import draw_picture, fill_box, texture_of

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
        """Width and height of the view without its sidebar, px."""
        return float(self._region.width - _width_of_region("UI")), float(self._region.height)

    def _frame(self) -> tuple[tuple[float, float], tuple[float, float]]:
        """Lower left corner and size of the picture, or of the left one of two side by side."""
        width, height = self._free()
        margin = MARGIN * bpy.context.preferences.system.ui_scale
        tools = _width_of_region("TOOLS")
        room = ((width - tools - margin) / (2.0 if self._beside else 1.0) - margin, height - 4.0 * margin)
        texture = self._textures[0]
        scale = min(room[0] / texture.width, room[1] / texture.height)
        size = (scale * texture.width, scale * texture.height)
        return (tools + margin + 0.5 * (room[0] - size[0]), 0.5 * (height - size[1])), size

    def draw_over(self) -> None:
        """Draw both pictures, the line, and their captions."""
        (x, y), (width, height) = self._frame()
        fill_box(0.0, 0.0, *self._free(), (0.06, 0.06, 0.06, 0.92))
        step = width + MARGIN * bpy.context.preferences.system.ui_scale
        if self._beside:
            draw_picture(self._textures[0], x, y, width, height)
            draw_picture(self._textures[1], x + step, y, width, height)
        else:
            draw_picture(self._textures[0], x, y, width, height, (0.0, self._share))
            draw_picture(self._textures[1], x, y, width, height, (self._share, 1.0))
            line = x + self._share * width
            fill_box(line - 1.0, y, 2.0, height, (*HUE, 1.0))
        below = y - 22.0 * bpy.context.preferences.system.ui_scale
        draw_words([self.left_words], x, below)
        end = x + step if self._beside else x + width - width_of(self.right_words)
        draw_words([self.right_words], end, below)

    def close(self, context: bpy.types.Context) -> None:
        """End the tool and free the pictures."""
        self._textures = []
        super().close(context)


def _width_of_region(kind: str) -> int:
    """Width in px of a region of the area that lies over the view; 0 where it is hidden."""
    region = next((part for part in bpy.context.area.regions if part.type == kind), None)
    return region.width if region is not None and region.width > 1 else 0


CLASSES = (BOZZETTO_OT_wipe,)
