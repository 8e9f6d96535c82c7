"""Lets the user paint the mask of the stand on the upright scan's vertices: white for the stand, black for the piece."""

from __future__ import annotations

import bpy
import numpy as np

MASK = "bozzetto_stand"
"""Name of the colour attribute of the mask: white is stand, black is piece, mid grey is undecided."""
SUBJECT = ("piece", "stand")


def begin_painting(context: bpy.types.Context, upright: bpy.types.Object) -> None:
    """Show only the upright scan, in Vertex Paint with white and black brushes, on its mask (a new one is grey)."""
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
    # Blender 5 keeps the brushes' shared colours per painting mode, earlier releases in the tool settings.
    shared = getattr(paint, "unified_paint_settings", None) or getattr(context.tool_settings, "unified_paint_settings", None)
    for holder in (shared, paint.brush):
        if holder is not None and hasattr(holder, "secondary_color"):
            holder.color, holder.secondary_color = (1.0, 1.0, 1.0), (0.0, 0.0, 0.0)
    for area in context.screen.areas if context.screen else ():
        if area.type == "VIEW_3D":
            area.spaces.active.shading.type, area.spaces.active.shading.color_type = "SOLID", "VERTEX"


def end_painting(context: bpy.types.Context, upright: bpy.types.Object) -> None:
    """Return to Object Mode with the parts shown as before."""
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
    for entry in mine:  # an aligned scan coincides with it and would show through the paint
        if entry.get("bozzetto_role") == "aligned":
            entry.hide_viewport = alone or bool(parts)
