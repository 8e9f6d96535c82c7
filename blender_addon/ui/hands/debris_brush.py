"""A brush over the table: a stroke adds or removes debris; later runs keep the strokes."""

from __future__ import annotations

import bpy
import numpy as np
from bpy.props import FloatProperty
from bpy_extras import view3d_utils

from ...core.arrays import Floats
from ...scene.dressing.debris_brush import brushed_over
from ..job_state import settings_for, stage_of
from ..overlays.drawn_lines import HUE
from ..watched_work import run_again
from .aiming import is_navigation, is_over, ray_under
from .view_tool import ViewTool

GROW = 1.25
"""Factor by which a key press changes the brush's radius."""


class BOZZETTO_OT_debris_brush(ViewTool, bpy.types.Operator):
    """Drag over the table to add debris, with Shift to remove it; each stroke shows at once. Esc cancels it, or ends"""

    bl_idname = "bozzetto.debris_brush"
    bl_label = "Brush debris"
    bl_options = {"INTERNAL"}  # the run after each stroke is its only undo step

    radius: FloatProperty(
        name="Radius", description="Radius of the brush", subtype="DISTANCE", min=0.001, max=1.0, default=0.02
    )

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Wait for strokes."""
        if stage_of(context).find("table", "") is None:
            self.report({"INFO"}, "Run until Tabletop first: there is no table yet")
            return {"CANCELLED"}
        self._stroke: list[tuple[float, float]] = []
        self._place: tuple[float, float] | None = None
        self._pressed = self._sweep = False
        words = "Drag to lay debris   Shift: sweep it away   [ and ]: size of the brush   Enter or Esc ends"
        return self.begin(context, words, cursor="PAINT_BRUSH")

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Follow a stroke; at its end run the step again."""
        if event.type in {"ESC", "RIGHTMOUSE"} and self._pressed:
            self._stroke, self._pressed = [], False
            context.area.tag_redraw()
            return {"RUNNING_MODAL"}
        if event.type in {"ESC", "RET", "NUMPAD_ENTER", "RIGHTMOUSE"}:
            if event.value == "PRESS":
                self.close(context)
                return {"FINISHED"}
            return {"RUNNING_MODAL"}
        if not self._pressed and (is_navigation(event) or not is_over(self._region, event)):
            return {"PASS_THROUGH"}
        context.area.tag_redraw()
        if event.type in {"LEFT_BRACKET", "RIGHT_BRACKET"} and event.value == "PRESS":
            self.radius *= GROW if event.type == "RIGHT_BRACKET" else 1.0 / GROW
        if event.type in {"LEFTMOUSE", "MOUSEMOVE"}:
            table = stage_of(context).find("table", "")
            self._place = None if table is None else on_table(self._region, context.space_data.region_3d, table, event)
        if event.type == "LEFTMOUSE" and event.value == "PRESS":
            self._stroke, self._sweep, self._pressed = [], event.shift, True
        if self._pressed and self._place is not None and event.type in {"LEFTMOUSE", "MOUSEMOVE"}:
            self._stroke.append(self._place)
        if event.type == "LEFTMOUSE" and event.value == "RELEASE" and self._pressed:
            stroke, self._stroke, self._pressed = self._stroke, [], False
            if stroke:
                lay_stroke(context, stroke, radius=self.radius, lay=not self._sweep)
                run_again(self, "debris")
        return {"RUNNING_MODAL"}

    def draw_over(self) -> None:
        """Draw the brush on the table and the present stroke."""
        table = stage_of(bpy.context).find("table", "")
        if table is None or self._place is None:
            return
        level = float(table.matrix_world.translation[2])
        turns = np.linspace(0.0, 2.0 * np.pi, 49)
        ring = np.array(self._place) + self.radius * np.stack([np.cos(turns), np.sin(turns)], axis=1)
        draw_on_level(self._region, bpy.context.space_data.region_3d, ring, level, width=1.5)
        if len(self._stroke) > 1:
            draw_on_level(self._region, bpy.context.space_data.region_3d, np.array(self._stroke), level, width=4.0)


def draw_on_level(
    region: bpy.types.Region, view: bpy.types.RegionView3D, places: Floats, level: float, *, width: float
) -> None:
    """Draw a line through points (n, 2) at a height; only the part in front of the viewer."""
    import gpu
    from gpu_extras.batch import batch_for_shader

    points = [view3d_utils.location_3d_to_region_2d(region, view, (float(x), float(y), level)) for x, y in places]
    if any(point is None for point in points):
        return
    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    shader.bind()
    gpu.state.blend_set("ALPHA")
    shader.uniform_float("viewportSize", gpu.state.viewport_get()[2:])
    shader.uniform_float("lineWidth", width * bpy.context.preferences.system.ui_scale)
    shader.uniform_float("color", (*HUE, 0.9))
    batch_for_shader(shader, "LINE_STRIP", {"pos": [(point.x, point.y, 0.0) for point in points]}).draw(shader)
    gpu.state.blend_set("NONE")


def on_table(
    region: bpy.types.Region, view: bpy.types.RegionView3D, table: bpy.types.Object, event: bpy.types.Event
) -> tuple[float, float] | None:
    """The point of the table's plane under the mouse, scene units; None where the ray misses it."""
    start, direction, _ = ray_under(region, view, event)
    origin, way = np.array(start, np.float64), np.array(direction, np.float64)
    level = float(table.matrix_world.translation[2])
    if abs(way[2]) < 1e-6 or (level - origin[2]) / way[2] <= 0.0:
        return None
    place = origin + (level - origin[2]) / way[2] * way
    return float(place[0]), float(place[1])


def lay_stroke(context: bpy.types.Context, stroke: list[tuple[float, float]], *, radius: float, lay: bool) -> bpy.types.Image:
    """Paint a stroke into the debris step's mask; returns the mask, a new image, so that undo restores the former one."""
    table, settings = stage_of(context).require("table", ""), settings_for(context.scene, "debris")
    former = settings.mask
    image = brushed_over(table, former, np.array(stroke), radius=radius, lay=lay)
    settings.mask = image
    return image


CLASSES = (BOZZETTO_OT_debris_brush,)
