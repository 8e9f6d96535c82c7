"""Tools in the 3D view: a shot from the view, a crop box, brushes for debris and relief, the light dial, point picking."""

from __future__ import annotations

import bpy

from ...job.step import Step
from . import crop, debris_brush, light_dial, pick_point, relief_mask, shot_from_view

CLASSES = (
    *shot_from_view.CLASSES, *crop.CLASSES, *debris_brush.CLASSES, *relief_mask.CLASSES, *light_dial.CLASSES,
    *pick_point.CLASSES,
)  # fmt: skip

_BY_ROLE = {
    "shot": (("bozzetto.shot_from_view", "Shot of this view"), ("bozzetto.crop_box", "Drag a crop ...")),
    "light": (("bozzetto.light_dial", "Turn the light ..."),),
    "debris": (("bozzetto.debris_brush", "Brush debris ..."),),
    "surface": (("bozzetto.paint_relief", "Paint the relief"),),
}


def draw_hands(layout: bpy.types.UILayout, context: bpy.types.Context, step: Step) -> None:
    """Draw the tools' buttons in a step's panel, by the roles that the step makes."""
    for role in step.makes:
        for identifier, words in _BY_ROLE.get(role, ()):
            painting = identifier == "bozzetto.paint_relief" and context.mode == "PAINT_VERTEX"
            layout.operator(identifier, text="End painting" if painting else words, depress=painting)
