"""Sets a point of the settings from the view: picked on the surface, with snapping, or from the 3D cursor."""

from __future__ import annotations

import bpy
from bpy.props import StringProperty
from mathutils import Vector

from ...scene import roles
from ...scene.meshes import MM
from ...scene.scan.aiming import aimed
from ...scene.scan.pair_picking import own_place, world_place
from ..job_state import stage_of
from .aiming import draw_spot, in_millimetres, is_navigation, is_over, ray_under, reach_at
from .view_tool import ViewTool

ENDS = (("point_a", "point_b"), ("hold_from", "hold_to"), ("crop_low", "crop_high"), ("bozzetto_hold_from", "bozzetto_hold_to"))
"""Pairs of points, whose distance is shown while one of them is picked."""


def holder_of(context: bpy.types.Context, group: str) -> bpy.types.bpy_struct:
    """The settings with a point, by their path from the scene; '' for the window manager."""
    return context.scene.path_resolve(group) if group else context.window_manager  # type: ignore[return-value]


def scan_of(context: bpy.types.Context, group: str, field: str) -> bpy.types.Object | None:
    """The object that shows the scan whose coordinates a point uses; None for world coordinates."""
    holder = holder_of(context, group)
    if holder.bl_rna.properties[field].unit == "LENGTH":  # in mm; a scan's own coordinates have no unit
        return None
    stage = stage_of(context)
    if field == "on_further":
        return stage.find("clean", holder.scan)
    return stage.find("upright") or stage.find("clean", "1") or stage.find("scan", "1")


def write_point(context: bpy.types.Context, group: str, field: str, place: Vector) -> None:
    """Store a world position as a point of the settings, converted to the scan's coordinates if it uses those."""
    holder, item = holder_of(context, group), scan_of(context, group, field)
    setattr(holder, field, place if item is None else own_place(item, place))
    if hasattr(holder, f"use_{field}"):
        setattr(holder, f"use_{field}", True)


def other_end(context: bpy.types.Context, group: str, field: str) -> Vector | None:
    """The other point of the pair, in world space; None where it is not set."""
    holder = holder_of(context, group)
    other = next((end for pair in ENDS if field in pair for end in pair if end != field), "")
    if not other or not getattr(holder, f"use_{other}", holder.is_property_set(other)):
        return None
    item = scan_of(context, group, other)
    return Vector(getattr(holder, other)) if item is None else world_place(item, getattr(holder, other))


class BOZZETTO_OT_pick_point(ViewTool, bpy.types.Operator):
    """Pick this point in the view; it snaps to corners and edges nearby. Esc leaves it unchanged"""

    bl_idname = "bozzetto.pick_point"
    bl_label = "Pick the point"
    bl_options = {"INTERNAL", "UNDO"}

    group: StringProperty(description="Path from the scene to the settings that hold the point, a table's row too")
    field: StringProperty(description="The point")

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Wait for the mouse."""
        if not self._subject(context):
            self.report({"INFO"}, "There is nothing to pick on: run Load scans first, or show the piece")
            return {"CANCELLED"}
        self._spot: tuple[Vector, bool] | None = None
        self._other = other_end(context, self.group, self.field)
        words = "Click the point   Wheel and middle button move the view   Esc cancels"
        return self.begin(context, words, cursor="EYEDROPPER")

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Show the point under the mouse; a click sets it."""
        if event.type in {"ESC", "RIGHTMOUSE"}:
            self.close(context)
            return {"CANCELLED"}
        if is_navigation(event):
            return {"PASS_THROUGH"}
        if event.type in {"MOUSEMOVE", "LEFTMOUSE"}:
            self._spot = self._under(context, event) if is_over(self._region, event) else None
            context.area.tag_redraw()
        if event.type == "LEFTMOUSE" and event.value == "PRESS" and self._spot is not None:
            write_point(context, self.group, self.field, self._spot[0])
            self.close(context)
            return {"FINISHED"}
        return {"RUNNING_MODAL"}

    def _under(self, context: bpy.types.Context, event: bpy.types.Event) -> tuple[Vector, bool] | None:
        """The point on the subject under the mouse, in world space, and whether it snapped to a corner. Other objects in front
        of the subject, such as a wall of the room, are ignored."""
        view = context.space_data.region_3d
        origin, way, pixel = ray_under(self._region, view, event)
        met: list[tuple[float, bpy.types.Object, Vector]] = []
        for item in self._subject(context):
            found = aimed(item, origin, way)
            if found is not None:
                place = item.matrix_world @ found[0]
                met.append(((place - origin).length, item, place))
        if not met:
            return None
        _, item, place = min(met, key=lambda entry: entry[0])
        found = aimed(item, origin, way, reach=reach_at(view, origin, place, pixel))
        return (item.matrix_world @ found[0], found[1]) if found is not None else (place, False)

    def _subject(self, context: bpy.types.Context) -> list[bpy.types.Object]:
        """The objects to pick on: the visible ones of piece and stand, or else of the scan."""
        job, scene = context.scene.get(roles.JOB, ""), context.scene
        for wanted in (("piece", "stand"), ("upright",), ("clean",), ("scan",)):
            items = [item for role in wanted for item in roles.players(job, role=role, scene=scene)]
            seen = [item for item in items if getattr(item, "type", "") == "MESH" and item.visible_get()]
            if seen:
                return seen
        return []

    def draw_over(self) -> None:
        """Draw the point, its position, and its distance from the other point."""
        if self._spot is None:
            return
        place, caught = self._spot
        words = [in_millimetres(place) + ("   on a corner or an edge" if caught else "")]
        if self._other is not None:
            words.append(f"{MM * (place - self._other).length:.1f} mm from the other point")
        draw_spot(self._region, bpy.context.space_data.region_3d, place, words, caught=caught)


class BOZZETTO_OT_point_from_cursor(bpy.types.Operator):
    """Take this point from the 3D cursor (Shift + right click on the scan puts it there)"""

    bl_idname = "bozzetto.point_from_cursor"
    bl_label = "From 3D cursor"
    bl_options = {"INTERNAL", "UNDO"}

    group: StringProperty(description="Path from the scene to the settings that hold the point, a table's row too")
    field: StringProperty(description="The point")

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Copy the 3D cursor's position."""
        write_point(context, self.group, self.field, context.scene.cursor.location)
        return {"FINISHED"}


CLASSES = (BOZZETTO_OT_pick_point, BOZZETTO_OT_point_from_cursor)
