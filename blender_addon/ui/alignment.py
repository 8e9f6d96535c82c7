"""What the user does by hand where the scan steps are unsure: choose the front or a possible fit by its picture, mark the same
spots on two scans, paint the stand."""

import math
from collections.abc import Callable

import bpy
from bpy.props import FloatProperty, IntProperty, StringProperty
from mathutils import Vector

from ..job.errors import JobError
from ..job.step import maker
from ..scene import roles
from ..scene.scan.alignment_pictures import open_scans, pose_pictures
from ..scene.scan.pair_picking import FEWEST, FIRST, PairPicking
from ..scene.scan.stand_mask import begin_painting, end_painting, is_painting
from ..scene.surface.base_picture import base_picture
from ..scene.thumbnails import front_candidates
from ..steps import catalogue
from .hands.aiming import draw_spot, frame_beside_sidebar, is_over, main_region, ray_under, reach_at
from .job_state import settings_for, stage_of, state_of
from .previews import Previews
from .watched_work import run_again

Ways = list[tuple[float, int]]
"""Choices of a dialog: the number of a fit or the angle of a front (degrees), each with its picture's icon number."""

previews = Previews()
"""The pictures of the open dialog."""


def show_choices(context: bpy.types.Context, lay_out: Callable[[bpy.types.UILayout], None]) -> None:
    """Open a popover of buttons at the mouse. It closes at a click on one of them; a dialog would stay open over the result."""
    context.window_manager.popover(lambda popover, _: lay_out(popover.layout), ui_units_x=28)


class BOZZETTO_OT_choose_pose(bpy.types.Operator):
    """Show each way in which a further scan fits the first, and use one of them"""

    bl_idname = "bozzetto.choose_pose"
    bl_label = "Possible fits"

    scan: StringProperty(description="Which further scan: its place in the list of scans", options={"SKIP_SAVE"})

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Draw each fit and show the choices."""
        stage = stage_of(context)
        keys = open_scans(stage.results())
        if not keys or (self.scan and self.scan not in keys):
            self.report({"INFO"}, "There is nothing to choose: the scans are not aligned yet, or only one fit is possible")
            return {"CANCELLED"}
        self.scan = self.scan or keys[0]
        previews.close()
        try:
            pictures = pose_pictures(stage, self.scan)
        except JobError as error:
            self.report({"ERROR"}, str(error))
            return {"CANCELLED"}
        ways = [(number, previews.of_pixels(str(number), 0, lambda picture=picture: picture)) for number, picture in pictures]
        show_choices(context, lambda layout: self._lay_out(layout, ways))
        return {"FINISHED"}

    def _lay_out(self, layout: bpy.types.UILayout, ways: Ways) -> None:
        """Draw three pictures per row, with a button under each."""
        layout.label(text=f"How scan {self.scan} would lie, in the scans' own colours: from the front and from above")
        grid = layout.grid_flow(columns=3, even_columns=True, row_major=True)
        for number, icon in ways:
            column = grid.column(align=True)
            column.template_icon(icon_value=icon, scale=7.0)
            button = column.operator("bozzetto.set_pose", text=f"Fit {number}")
            button.scan, button.candidate = self.scan, number


class BOZZETTO_OT_set_pose(bpy.types.Operator):
    """Align the scan by this possible fit and keep it in the settings"""

    bl_idname = "bozzetto.set_pose"
    bl_label = "Use this fit"
    bl_options = {"INTERNAL"}  # the following run is the only undo step

    scan: StringProperty(description="Which further scan: its place in the list of scans")
    candidate: IntProperty(description="Number of the possible fit", min=1, default=1)
    turn: FloatProperty(description="How far it is turned on from that fit", subtype="ANGLE")

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Write the choice and align the scans again."""
        rows = settings_for(context.scene, "aligned").choices
        row = next((row for row in rows if row.scan == self.scan), None) or rows.add()
        row.scan, row.candidate, row.turn = self.scan, self.candidate, self.turn
        return run_again(self, "aligned")


class BOZZETTO_OT_mark_spots(bpy.types.Operator):
    """Place a further scan by hand: click three spots on the first scan and the same three on the further one"""

    bl_idname = "bozzetto.mark_spots"
    bl_label = "Mark the same spots"

    scan: StringProperty(
        name="Scan", description="Which further scan: its place in the list of scans", default="2", options={"SKIP_SAVE"}
    )

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only in a 3D view."""
        return context.area is not None and context.area.type == "VIEW_3D"

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Show the two scans side by side and wait for clicks."""
        stage = stage_of(context)
        upright, further = stage.find("upright"), stage.find("clean", self.scan)
        if upright is None or further is None:
            self.report({"INFO"}, f"Run until Orientation first: there is no first scan upright, or no scan {self.scan}")
            return {"CANCELLED"}
        if context.mode != "OBJECT":
            bpy.ops.object.mode_set(mode="OBJECT")
        self._picking = PairPicking(context.scene, upright, further)
        self._spot: tuple[Vector, bool] | None = None
        bpy.ops.object.select_all(action="DESELECT")
        for which in self._picking.names:
            self._picking.item(which).select_set(True)
        self._local = context.space_data.local_view is None
        if self._local:
            bpy.ops.view3d.localview(frame_selected=False)
        copies = [self._picking.item(which) for which in self._picking.names]
        context.view_layer.update()
        frame_beside_sidebar(context.area, copies)
        self._show_colours(context, [upright, further])
        region = next(region for region in context.area.regions if region.type == "WINDOW")
        self._handle = bpy.types.SpaceView3D.draw_handler_add(self._draw_numbers, (region,), "WINDOW", "POST_PIXEL")
        context.window_manager.modal_handler_add(self)
        self._say(context)
        return {"RUNNING_MODAL"}

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """A click picks a point, Backspace removes the last one, Esc stops; all other events are passed to the view."""
        if event.type in {"ESC", "RIGHTMOUSE"}:
            return self._end(context, {"CANCELLED"})
        if not is_over(main_region(context.area), event):
            return {"PASS_THROUGH"}
        if event.type == "BACK_SPACE" and event.value == "PRESS":
            self._picking.undo()
        elif event.type == "LEFTMOUSE" and event.value == "PRESS":
            self._click(context, event)
        elif event.type == "MOUSEMOVE":
            self._hover(context, event)
            return {"PASS_THROUGH"}
        else:
            return {"PASS_THROUGH"}
        if self._picking.done():
            self._write(context)
            return self._end(context, {"FINISHED"})
        self._say(context)
        context.area.tag_redraw()
        return {"RUNNING_MODAL"}

    def _ray(self, context: bpy.types.Context, event: bpy.types.Event) -> tuple[Vector, Vector, float] | None:
        """Origin, direction and snapping distance (world, metres) of the mouse's ray; None where it misses the wanted scan."""
        region, view = main_region(context.area), context.space_data.region_3d
        origin, way, pixel = ray_under(region, view, event)
        met = self._picking.aimed(origin, way)
        if met is None:
            return None
        return origin, way, reach_at(view, origin, self._item().matrix_world @ met[0], pixel)

    def _item(self) -> bpy.types.Object:
        return self._picking.item(self._picking.wanted())

    def _hover(self, context: bpy.types.Context, event: bpy.types.Event) -> None:
        ray = self._ray(context, event)
        met = ray and self._picking.aimed(*ray[:2], reach=ray[2])
        self._spot = (self._item().matrix_world @ met[0], met[1]) if met else None
        context.area.tag_redraw()

    def _click(self, context: bpy.types.Context, event: bpy.types.Event) -> None:
        ray = self._ray(context, event)
        if ray is None:
            self.report({"INFO"}, "There is nothing of that scan under the mouse")
            return
        self._picking.pick(*ray[:2], reach=ray[2])
        self._spot = None

    def _write(self, context: bpy.types.Context) -> None:
        rows = settings_for(context.scene, "aligned").pairs
        for place in reversed([place for place, row in enumerate(rows) if row.scan == self.scan]):
            rows.remove(place)
        for further, first in self._picking.pairs():
            row = rows.add()
            row.scan, row.use_on_further, row.use_on_first = self.scan, True, True
            row.on_further, row.on_first = further, first

    def _say(self, context: bpy.types.Context) -> None:
        which = "the first scan" if self._picking.wanted() == FIRST else f"scan {self.scan}, the same spot"
        number = len(self._picking.spots["further"]) + 1
        context.workspace.status_text_set(f"Spot {number} of {FEWEST}: click on {which}.   Backspace takes back   Esc stops")

    def _show_colours(self, context: bpy.types.Context, scans: list[bpy.types.Object]) -> None:
        """Show the scans' own colours, without which the same spot can't be told on a smooth form."""
        shading = context.space_data.shading
        self._shading = (shading.type, shading.color_type)
        shading.type = "SOLID"
        if any(base_picture(item) is not None for item in scans):
            shading.color_type = "TEXTURE"
        elif any(item.data.color_attributes for item in scans):
            shading.color_type = "VERTEX"

    def _draw_numbers(self, region: bpy.types.Region) -> None:
        import blf
        from bpy_extras import view3d_utils

        if bpy.context.region != region:
            return
        if self._spot is not None:
            place, caught = self._spot
            words = "on a corner or an edge" if caught else "on the surface"
            draw_spot(region, bpy.context.space_data.region_3d, place, [words], caught=caught)
        scale = bpy.context.preferences.system.ui_scale
        blf.size(0, 18.0 * scale)
        blf.color(0, 1.0, 0.72, 0.25, 1.0)
        for number, place in self._picking.shown():
            at = view3d_utils.location_3d_to_region_2d(region, bpy.context.space_data.region_3d, place)
            if at is not None:
                blf.position(0, at.x + 4.0 * scale, at.y + 4.0 * scale, 0.0)
                blf.draw(0, f"· {number}")

    def _end(self, context: bpy.types.Context, state: set[str]) -> set[str]:
        bpy.types.SpaceView3D.draw_handler_remove(self._handle, "WINDOW")
        if self._local and context.space_data.local_view is not None:
            bpy.ops.view3d.localview(frame_selected=False)
        context.space_data.shading.type, context.space_data.shading.color_type = self._shading
        self._picking.end()
        context.workspace.status_text_set(None)
        context.area.tag_redraw()
        return run_again(self, "aligned") if state == {"FINISHED"} else state


class BOZZETTO_OT_paint_stand(bpy.types.Operator):
    """Paint the stand white and the piece black on the upright scan; press again to cut along the painted line"""

    bl_idname = "bozzetto.paint_stand"
    bl_label = "Paint the stand"

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Begin painting, or end it and cut."""
        upright = stage_of(context).find("upright")
        if upright is None:
            self.report({"INFO"}, "Run until Orientation first: there is nothing upright yet")
            return {"CANCELLED"}
        if is_painting(context, upright):
            end_painting(context, upright)
            return run_again(self, "piece")
        begin_painting(context, upright)
        bpy.ops.ed.undo_push(message="Paint the stand")
        return {"FINISHED"}


class BOZZETTO_OT_choose_front(bpy.types.Operator):
    """Show the subject from six sides and make one of them the front"""

    bl_idname = "bozzetto.choose_front"
    bl_label = "Choose the front"

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Draw the six sides."""
        stage = stage_of(context)
        upright = stage.find("upright")
        if upright is None:
            self.report({"INFO"}, "Run until Orientation first: there is nothing upright yet")
            return {"CANCELLED"}
        previews.close()
        known = float(stage.results().get(maker("upright", catalogue()).name, {}).get("figures", {}).get("front_deg", 0.0))
        sides = []
        for place, (angle, picture) in enumerate(front_candidates(upright)):
            icon = previews.of_pixels(str(place), 0, lambda picture=picture: picture)
            sides.append(((known + angle + 180.0) % 360.0 - 180.0, icon))
        show_choices(context, lambda layout: self._lay_out(layout, sides))
        return {"FINISHED"}

    def _lay_out(self, layout: bpy.types.UILayout, sides: Ways) -> None:
        """Draw the pictures in two rows of three, with a button under each."""
        grid = layout.grid_flow(columns=3, even_columns=True, row_major=True)
        for angle, icon in sides:
            column = grid.column(align=True)
            column.template_icon(icon_value=icon, scale=7.0)
            column.operator("bozzetto.set_front", text="This is the front" if angle else "The front now").angle = math.radians(
                angle
            )


class BOZZETTO_OT_set_front(bpy.types.Operator):
    """Make this side the front and turn the subject"""

    bl_idname = "bozzetto.set_front"
    bl_label = "This is the front"
    bl_options = {"INTERNAL"}  # the following run is the only undo step

    angle: FloatProperty(description="Where the front is, counter-clockwise from above", subtype="ANGLE")

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Set the angle and turn the scan again."""
        settings = settings_for(context.scene, "upright")
        settings.use_front, settings.front = True, self.angle
        return run_again(self, "upright")


def tools_of(role: str, scene: bpy.types.Scene) -> tuple[tuple[str, str], ...]:
    """(identifier, label) of the usable operators by which a person decides what a role's step decided."""
    if role == "upright":
        return (("bozzetto.choose_front", "Choose the front ..."),)
    if role == "piece":
        return (("bozzetto.paint_stand", "Cut along the paint" if bpy.context.mode == "PAINT_VERTEX" else "Paint the stand"),)
    if role != "aligned" or len(roles.players(scene.get(roles.JOB, ""), role="clean", scene=scene, kinds=("objects",))) < 2:
        return ()
    fits = (("bozzetto.choose_pose", "Possible fits ..."),) if open_scans(state_of(scene).results) else ()
    return (*fits, ("bozzetto.mark_spots", "Mark the same spots"))


CLASSES = (
    BOZZETTO_OT_choose_pose, BOZZETTO_OT_set_pose, BOZZETTO_OT_mark_spots, BOZZETTO_OT_paint_stand, BOZZETTO_OT_choose_front,
    BOZZETTO_OT_set_front,
)  # fmt: skip
