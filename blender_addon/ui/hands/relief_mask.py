"""Lets the user paint where the piece's relief is stronger or weaker; the view shows it at once."""

from __future__ import annotations

import bpy

from ...scene.surface.live_relief import begin_mask
from ..job_state import stage_of


class BOZZETTO_OT_paint_relief(bpy.types.Operator):
    """Paint the strength of the relief on the piece: white doubles it, black removes it, grey keeps it; press again to end"""

    bl_idname = "bozzetto.paint_relief"
    bl_label = "Paint the relief"
    bl_options = {"UNDO"}

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Begin or end painting the mask."""
        if context.mode == "PAINT_VERTEX":
            bpy.ops.object.mode_set(mode="OBJECT")
            return {"FINISHED"}
        stage = stage_of(context)
        layer = begin_mask(stage)
        if layer is None:
            self.report({"INFO"}, "Run until Separation first: there is no piece to paint on")
            return {"CANCELLED"}
        piece = stage.require("piece")
        if context.mode != "OBJECT":
            bpy.ops.object.mode_set(mode="OBJECT")
        for item in context.selected_objects:
            item.select_set(False)
        piece.select_set(True)
        context.view_layer.objects.active = piece
        bpy.ops.object.mode_set(mode="VERTEX_PAINT")
        return {"FINISHED"}


CLASSES = (BOZZETTO_OT_paint_relief,)
