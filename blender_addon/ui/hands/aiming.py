"""The mouse in a 3D view: its ray, the snapping distance, and a ring with text at the point under it."""

from __future__ import annotations

from collections.abc import Sequence

import bpy
import numpy as np
from bpy_extras import view3d_utils
from mathutils import Vector

from ...scene.meshes import MM
from ..overlays.drawn_lines import HUE, draw_words

REACH_PX = 14.0
"""Snapping distance to corners, in px at an interface scale of 1."""
RING = 24
HALF_VIEW = 36.0
"""Half of the 72 mm that Blender takes as the longer side of a 3D view's film (a 36 mm sensor at zoom 2)."""


def main_region(area: bpy.types.Area) -> bpy.types.Region:
    """The region of a 3D view that shows the scene."""
    return next(region for region in area.regions if region.type == "WINDOW")


def is_over(region: bpy.types.Region, event: bpy.types.Event) -> bool:
    """Whether the mouse is over the view, and not over its sidebar, its header or another editor."""
    area = bpy.context.area
    inside = [part for part in area.regions if part.width > 1 and _holds(part, event)]
    return bool(inside) and all(part == region for part in inside)


def _holds(region: bpy.types.Region, event: bpy.types.Event) -> bool:
    x, y = event.mouse_x - region.x, event.mouse_y - region.y
    return 0 <= x < region.width and 0 <= y < region.height


def ray_under(region: bpy.types.Region, view: bpy.types.RegionView3D, event: bpy.types.Event) -> tuple[Vector, Vector, float]:
    """Origin and direction of the ray through the mouse (world, metres), and the width of a pixel: in metres per metre of
    distance in perspective, in metres in a parallel view."""
    place = Vector((event.mouse_x - region.x, event.mouse_y - region.y))
    aside = place + Vector((1.0, 0.0))
    origin, way = (
        ask(region, view, place) for ask in (view3d_utils.region_2d_to_origin_3d, view3d_utils.region_2d_to_vector_3d)
    )
    if view.is_perspective:
        return origin, way, (view3d_utils.region_2d_to_vector_3d(region, view, aside) - way).length
    return origin, way, (view3d_utils.region_2d_to_origin_3d(region, view, aside) - origin).length


def reach_at(view: bpy.types.RegionView3D, origin: Vector, place: Vector, pixel: float) -> float:
    """The length of `REACH_PX` at a place, metres."""
    scale = bpy.context.preferences.system.ui_scale
    return REACH_PX * scale * pixel * ((place - origin).length if view.is_perspective else 1.0)


def draw_spot(region: bpy.types.Region, view: bpy.types.RegionView3D, place: Vector, words: list[str], *, caught: bool) -> None:
    """Draw a ring round a world position, heavy where it is snapped to a corner, with text beside it."""
    import math

    import gpu
    from gpu_extras.batch import batch_for_shader

    at = view3d_utils.location_3d_to_region_2d(region, view, place)
    if at is None:
        return
    scale = bpy.context.preferences.system.ui_scale
    radius = 7.0 * scale
    ring = [
        (at.x + radius * math.cos(math.tau * step / RING), at.y + radius * math.sin(math.tau * step / RING), 0.0)
        for step in range(RING + 1)
    ]
    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    shader.bind()
    gpu.state.blend_set("ALPHA")
    shader.uniform_float("viewportSize", gpu.state.viewport_get()[2:])
    shader.uniform_float("lineWidth", (3.5 if caught else 1.5) * scale)
    shader.uniform_float("color", (*HUE, 1.0))
    batch_for_shader(shader, "LINE_STRIP", {"pos": ring}).draw(shader)
    gpu.state.blend_set("NONE")
    draw_words(words, at.x + 2.0 * radius, at.y + radius)


def frame_beside_sidebar(area: bpy.types.Area, items: Sequence[bpy.types.Object]) -> None:
    """Frame these objects in the part of the view that no sidebar covers, since clicks on the sidebar do not reach the view."""
    space, region = area.spaces.active, main_region(area)
    view = space.region_3d
    sidebar = next((part for part in area.regions if part.type == "UI"), None)
    covered = sidebar.width if sidebar is not None and 1 < sidebar.width < 0.7 * region.width else 0
    corners = np.array([item.matrix_world @ Vector(corner) for item in items for corner in item.bound_box])
    low, high = corners.min(axis=0), corners.max(axis=0)
    longer = max(region.width, region.height)
    free = min(region.width - covered, region.height) / longer
    across = HALF_VIEW / space.lens  # half of the longer side of the view over its distance
    if view.view_perspective == "CAMERA":
        view.view_perspective = "PERSP"
    view.view_distance = 1.1 * 0.5 * float(np.linalg.norm(high - low)) / (across * free)
    aside = 0.5 * covered * 2.0 * across * view.view_distance / longer
    view.view_location = Vector(0.5 * (low + high)) + view.view_rotation @ Vector((aside, 0.0, 0.0))


def in_millimetres(place: Vector) -> str:
    """A position as text: x, y and z in mm."""
    return "   ".join(f"{axis} {MM * part:.1f}" for axis, part in zip("xyz", place, strict=True)) + " mm"


def is_navigation(event: bpy.types.Event) -> bool:
    """Whether an event navigates the view and must be passed on to Blender."""
    return event.type in {
        "MIDDLEMOUSE", "WHEELUPMOUSE", "WHEELDOWNMOUSE", "WHEELINMOUSE", "WHEELOUTMOUSE", "TRACKPADPAN", "TRACKPADZOOM",
        "MOUSEROTATE", "NDOF_MOTION",
    } or event.type.startswith("NUMPAD")  # fmt: skip
