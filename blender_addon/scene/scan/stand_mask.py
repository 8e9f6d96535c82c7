"""The mask of the stand as something to paint on: white stand, black piece, on the upright scan's vertices."""

from __future__ import annotations

import bpy
import numpy as np

MASK = "bozzetto_stand"
"""Name of the colour attribute that shows, and takes, what is stand: white stand, black piece, mid grey left open."""
SUBJECT = ("piece", "stand")


def begin_painting(context: bpy.types.Context, upright: bpy.types.Object) -> None:
    """Show the upright scan alone, its mask as what is painted on (grey where there was none), brushes white and black."""
    if context.mode != "OBJECT":
        bpy.ops.object.mode_set(mode="OBJECT")
    layers = upright.data.color_attributes
    layer = layers.get(MASK)
    if layer is None:
        layer = layers.new(name=MASK, type="FLOAT_COLOR", domain="POINT")
        grey = np.full((len(upright.data.vertices), 4), 0.5, np.float32)
        grey[:, 3] = 1.0
        layer.data.foreach_set("color", grey.ravel())
    layers.active_color = layers[MASK]
    _show(upright, alone=True)
    for item in context.selected_objects:
        item.select_set(False)
    upright.select_set(True)
    context.view_layer.objects.active = upright
    bpy.ops.object.mode_set(mode="VERTEX_PAINT")
    paint = context.tool_settings.vertex_paint
    # Blender 5 keeps the colours that brushes share with each kind of painting, earlier ones with the tools.
    shared = getattr(paint, "unified_paint_settings", None) or getattr(context.tool_settings, "unified_paint_settings", None)
    for holder in (shared, paint.brush):
        if holder is not None and hasattr(holder, "secondary_color"):
            holder.color, holder.secondary_color = (1.0, 1.0, 1.0), (0.0, 0.0, 0.0)
    for area in context.screen.areas if context.screen else ():
        if area.type == "VIEW_3D":
            area.spaces.active.shading.type, area.spaces.active.shading.color_type = "SOLID", "VERTEX"


def end_painting(context: bpy.types.Context, upright: bpy.types.Object) -> None:
    """Back to object mode, the parts shown as before."""
    bpy.ops.object.mode_set(mode="OBJECT")
    _show(upright, alone=False)


def is_painting(context: bpy.types.Context, upright: bpy.types.Object) -> bool:
    """Whether the upright scan is being painted on."""
    return context.mode == "PAINT_VERTEX" and context.view_layer.objects.active == upright


def _show(upright: bpy.types.Object, *, alone: bool) -> None:
    job = upright.get("bozzetto_job")
    mine = [item for item in bpy.data.objects if item.get("bozzetto_job") == job]
    parts = [entry for entry in mine if entry.get("bozzetto_role") in SUBJECT]
    upright.hide_viewport = not alone and bool(parts)
    for part in parts:
        part.hide_viewport = alone
    for entry in mine:  # a further scan lies on it, and would show through the paint
        if entry.get("bozzetto_role") == "aligned":
            entry.hide_viewport = alone or bool(parts)
