"""A dial for the light's direction: a ring round the piece as if seen from above, dragged by the mark where the light comes
from."""

from __future__ import annotations

import math

import bpy
from bpy_extras import view3d_utils
from mathutils import Vector

from ...scene.dressing.live_light import LiveLight
from ..job_state import settings_for
from ..overlays.drawn_lines import HUE, draw_words
from ..watched_work import run_again
from .aiming import is_navigation, is_over
from .view_tool import ViewTool

STEP = math.radians(5.0)
"""Step of the light's turn with Ctrl, radians."""
SHARE = 0.3
"""Radius of the ring as a share of the view's smaller side."""


class BOZZETTO_OT_light_dial(ViewTool, bpy.types.Operator):
    """Drag the light round the piece on a ring seen from above, with the camera at the bottom. Esc restores the light"""

    bl_idname = "bozzetto.light_dial"
    bl_label = "Turn the light"
    bl_options = {"INTERNAL"}  # the run that follows is the one undo step

    def invoke(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Show the ring and wait for the drag."""
        self._light = LiveLight(context.scene)
        if not self._light.there:
            self.report({"INFO"}, "Run until Lighting first: there is no light yet")
            return {"CANCELLED"}
        self._turn, self._held = 0.0, False
        return self.begin(context, "Drag the mark round the ring: the camera is below.   Ctrl: steps of 5 degrees   Esc leaves")

    def modal(self, context: bpy.types.Context, event: bpy.types.Event) -> set[str]:
        """Follow the drag; letting go keeps it."""
        if event.type in {"ESC", "RIGHTMOUSE"}:
            return self._end(context, {"CANCELLED"})
        if not self._held and (is_navigation(event) or not is_over(self._region, event)):
            return {"PASS_THROUGH"}
        if event.type == "LEFTMOUSE" and event.value == "PRESS":
            self._held = True
        if self._held and event.type in {"LEFTMOUSE", "MOUSEMOVE"}:
            self._follow(event)
            context.area.tag_redraw()
        if self._held and event.type == "LEFTMOUSE" and event.value == "RELEASE":
            return self._end(context, {"FINISHED"})
        return {"RUNNING_MODAL"}

    def _follow(self, event: bpy.types.Event) -> None:
        middle, _ = self._ring()
        way = Vector((event.mouse_x - self._region.x, event.mouse_y - self._region.y)) - middle
        if way.length < 4.0:
            return
        turn = math.remainder(math.atan2(way.y, way.x) - self._on_ring(0.0), math.tau)
        self._turn = STEP * round(turn / STEP) if event.ctrl else turn
        self._light.show(self._turn)

    def _ring(self) -> tuple[Vector, float]:
        """Centre and radius of the ring in px; the centre is kept inside the region."""
        region, view = self._region, bpy.context.space_data.region_3d
        radius = SHARE * min(region.width, region.height)
        at = view3d_utils.location_3d_to_region_2d(region, view, self._light.middle)
        at = Vector((0.5 * region.width, 0.5 * region.height)) if at is None else at
        return Vector((
            min(max(at.x, radius), region.width - radius), min(max(at.y, radius), region.height - radius),
        )), radius  # fmt: skip

    def _on_ring(self, turn: float) -> float:
        """Angle of the mark on the ring (radians from the right, counter-clockwise); above is behind the piece."""
        way = bpy.context.space_data.region_3d.view_rotation @ Vector((0.0, 0.0, -1.0))
        if way.xy.length < 1e-3:  # seen from above: what is up on the screen
            way = bpy.context.space_data.region_3d.view_rotation @ Vector((0.0, 1.0, 0.0))
        return self._light.azimuth + turn - math.atan2(way.y, way.x) + 0.5 * math.pi

    def draw_over(self) -> None:
        """Draw the ring, its mark and text."""
        import gpu
        from gpu_extras.batch import batch_for_shader

        middle, radius = self._ring()
        scale = bpy.context.preferences.system.ui_scale
        angle = self._on_ring(self._turn)
        mark = middle + radius * Vector((math.cos(angle), math.sin(angle)))
        shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
        shader.bind()
        gpu.state.blend_set("ALPHA")
        shader.uniform_float("viewportSize", gpu.state.viewport_get()[2:])
        for width, alpha, points in (
            (1.5, 0.7, _circle(middle, radius)), (2.0, 0.9, [mark, middle + 0.35 * (mark - middle)]),
            (4.0, 1.0, _circle(mark, 7.0 * scale)),
        ):  # fmt: skip
            shader.uniform_float("lineWidth", width * scale)
            shader.uniform_float("color", (*HUE, alpha))
            batch_for_shader(shader, "LINE_STRIP", {"pos": [(*point, 0.0) for point in points]}).draw(shader)
        gpu.state.blend_set("NONE")
        words = [from_where(angle), f"turned by {math.degrees(self._turn):+.0f}°"]
        draw_words(words, middle.x - 0.5 * radius, max(middle.y - radius - 44.0 * scale, 8.0 * scale))

    def _end(self, context: bpy.types.Context, state: set[str]) -> set[str]:
        self.close(context)
        self._light.restore()
        if state == {"CANCELLED"} or abs(self._turn) < 1e-4:
            return {"CANCELLED"}
        lighting = settings_for(context.scene, "light")
        lighting.turn = math.remainder(lighting.turn + self._turn, math.tau)
        return run_again(self, "light")

    def cancel(self, context: bpy.types.Context) -> None:
        """Restore the light when Blender opens another file."""
        self._light.restore()
        self.close(context)


def from_where(angle: float) -> str:
    """The light's direction in words, from the mark's angle (radians from the right, counter-clockwise)."""
    off = math.degrees(math.remainder(angle + 0.5 * math.pi, math.tau))
    side = "the right" if off > 0.0 else "the left"
    if abs(off) < 10.0:
        return "light from the camera"
    if abs(off) > 170.0:
        return "light from behind"
    return f"light {abs(off):.0f}° from the camera, from {side}"


def _circle(middle: Vector, radius: float) -> list[Vector]:
    turns = [math.tau * step / 64 for step in range(65)]
    return [middle + radius * Vector((math.cos(turn), math.sin(turn))) for turn in turns]


CLASSES = (BOZZETTO_OT_light_dial,)
