"""A brush over the table: a stroke lays more debris or sweeps it away, and every later run keeps it so."""

from __future__ import annotations

import bpy
import numpy as np
from bpy.props import FloatProperty
from bpy_extras import view3d_utils

from ...scene.dressing.debris_brush import brush, mask_over
from ..alignment import run_again, settings_for
from ..job_state import stage_of


class BOZZETTO_OT_debris_brush(bpy.types.Operator):
    """Drag over the table to lay debris, with Shift to sweep it away. Each stroke shows at once; Enter or Esc ends"""

    bl_idname = "bozzetto.debris_brush"
    bl_label = "Brush debris"
    bl_options = {"UNDO"}

    radius: FloatProperty(
        name="Radius", description="Radius of the brush", subtype="DISTANCE", min=0.001, max=1.0, default=0.02
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only in a 3D view."""
        return context.region_data is not None

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Wait for strokes."""
        if stage_of(context).find("table", "") is None:
            self.report({"INFO"}, "Run until Tabletop first: there is no table yet")
            return {"CANCELLED"}
        self._stroke: list[tuple[float, float]] = []
        self._sweep = False
        context.window_manager.modal_handler_add(self)
        context.window.cursor_modal_set("PAINT_BRUSH")
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Follow a stroke; at its end lay anew."""
        if event.type in {"ESC", "RET", "RIGHTMOUSE"}:
            context.window.cursor_modal_restore()
            return {"FINISHED"}
        if event.type == "LEFTMOUSE" and event.value == "PRESS":
            self._stroke, self._sweep = [], event.shift
        if event.type in {"LEFTMOUSE", "MOUSEMOVE"} and (self._stroke or event.value == "PRESS"):
            place = on_table(context, stage_of(context).require("table", ""), (event.mouse_region_x, event.mouse_region_y))
            if place is not None:
                self._stroke.append(place)
        if event.type == "LEFTMOUSE" and event.value == "RELEASE" and self._stroke:
            stroke, self._stroke = self._stroke, []
            lay_stroke(context, stroke, radius=self.radius, lay=not self._sweep)
            run_again(self, "debris")
        return {"PASS_THROUGH"} if event.type in {"MIDDLEMOUSE", "WHEELUPMOUSE", "WHEELDOWNMOUSE"} else {"RUNNING_MODAL"}


def on_table(context: bpy.types.Context, table: bpy.types.Object, pixel: tuple[int, int]) -> tuple[float, float] | None:
    """The place (x, y) on the table's plane, in scene units, that a pixel of the region shows; None where it shows none."""
    origin = np.array(view3d_utils.region_2d_to_origin_3d(context.region, context.region_data, pixel), np.float64)
    way = np.array(view3d_utils.region_2d_to_vector_3d(context.region, context.region_data, pixel), np.float64)
    level = float(table.matrix_world.translation[2])
    if abs(way[2]) < 1e-6 or (level - origin[2]) / way[2] <= 0.0:
        return None
    place = origin + (level - origin[2]) / way[2] * way
    return float(place[0]), float(place[1])


def lay_stroke(context: bpy.types.Context, stroke: list[tuple[float, float]], *, radius: float, lay: bool) -> bpy.types.Image:
    """Paint a stroke into the mask for debris, make the mask where there is none, and set it in the settings; the mask.

    stroke: places (x, y) on the table and radius, all in scene units. lay: more debris, else less.
    """
    table, settings = stage_of(context).require("table", ""), settings_for(context.scene, "debris")
    image = settings.mask or mask_over(table)
    settings.mask = image
    brush(image, table, np.array(stroke), radius=radius, lay=lay)
    return image


CLASSES = (BOZZETTO_OT_debris_brush,)
