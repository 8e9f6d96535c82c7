"""Which side is the front? Six thumbnails of the standing subject, one click."""

import math

import bpy
import bpy.utils.previews
from bpy.props import FloatProperty

from ..scene.stage import Stage
from ..scene.thumbnails import front_candidates
from ..steps import catalogue
from .alignment import run_again, show_choices
from .properties import sheet_of

_open: dict = {}
"""The previews of the open dialog: Blender frees them only by hand."""


class BOZZETTO_OT_choose_front(bpy.types.Operator):
    """Show the subject from six sides and make one of them the front"""

    bl_idname = "bozzetto.choose_front"
    bl_label = "Choose the front"

    def invoke(self, context, event):
        """Draw the six sides."""
        stage = Stage(context.scene, sheet_of(context.scene, catalogue()))
        upright = stage.find("upright")
        if upright is None:
            self.report({"INFO"}, "Run until Orientation first: there is nothing upright yet")
            return {"CANCELLED"}
        close_previews()
        known = float(stage.results().get("orientation", {}).get("figures", {}).get("front_deg", 0.0))
        previews = bpy.utils.previews.new()
        _open["previews"] = previews
        sides = []
        for place, (angle, picture) in enumerate(front_candidates(upright)):
            preview = previews.new(str(place))
            preview.image_size = [picture.shape[1], picture.shape[0]]  # type: ignore[assignment]
            preview.image_pixels_float.foreach_set(picture.astype("f4").ravel())
            sides.append(((known + angle + 180.0) % 360.0 - 180.0, preview.icon_id))
        show_choices(context, lambda layout: self._lay_out(layout, sides))
        return {"FINISHED"}

    def _lay_out(self, layout, sides):
        """Three and three, a button under each."""
        grid = layout.grid_flow(columns=3, even_columns=True, row_major=True)
        for angle, icon in sides:
            column = grid.column(align=True)
            column.template_icon(icon_value=icon, scale=7.0)
            column.operator("bozzetto.set_front", text="This is the front").angle = math.radians(angle)


class BOZZETTO_OT_set_front(bpy.types.Operator):
    """Make this side the front and turn the subject"""

    bl_idname = "bozzetto.set_front"
    bl_label = "This is the front"
    bl_options = {"INTERNAL", "UNDO"}

    angle: FloatProperty(subtype="ANGLE")

    def execute(self, context):
        """Set the angle and run the orientation again."""
        orientation = context.scene.bozzetto.orientation
        orientation.use_front, orientation.front = True, self.angle
        return run_again(self, "orientation")


def close_previews():
    """Free the pictures of an earlier dialog."""
    if "previews" in _open:
        bpy.utils.previews.remove(_open.pop("previews"))


CLASSES = (BOZZETTO_OT_choose_front, BOZZETTO_OT_set_front)
