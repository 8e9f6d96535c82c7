"""Shows the finished pictures small in the tab as soon as each exists; a click opens it at full size."""

import contextlib
import math
from collections.abc import Callable
from functools import partial
from pathlib import Path

import bpy
from bpy.props import StringProperty
from mathutils import Vector

from ..job.step import maker
from ..scene import roles
from ..scene.delivery.copies.finished import Finished, finished, shots_of
from ..scene.delivery.device import find_device
from ..scene.delivery.trial import try_hero
from ..scene.shots import lens_drivers
from ..scene.stage import Stage
from ..steps import catalogue
from .fields import Tab
from .folders import output_folder
from .job_state import state_of
from .previews import Previews
from .watched_work import SLOW_DRAWING

previews = Previews()
"""The pictures that the panel shows."""

_shown: list[Finished] = []
"""The result of the panel's last poll, which Blender calls just before each draw."""

SCALE = 6.0
"""Size of a small picture, in units of the interface."""

DRAWN_S = 0.3
"""Seconds after which a new window has been drawn; where it takes longer its picture stays at full size."""

DISTANCE = 1.7
"""Distance from which a subject is looked at, over its diagonal; by eye, with room left for the sidebar."""

LOOK, LOOK_SIDE = "First look", 480
"""Title of the first picture, and pixels along its longer side."""


class BOZZETTO_PT_pictures(Tab, bpy.types.Panel):
    """The finished pictures of this job"""

    bl_label = "Pictures"
    bl_idname = "BOZZETTO_PT_pictures"

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Available once there are finished pictures."""
        _shown[:] = pictures_of(context.scene)
        return bool(_shown)

    def draw(self, context: bpy.types.Context) -> None:
        """Draw small pictures, with a button under each."""
        width = context.region.width / context.preferences.system.ui_scale if context.region else 300
        grid = self.layout.grid_flow(columns=max(1, int(width // 120)), even_columns=True, row_major=True)
        for shown in _shown:  # as the poll just found them
            column = grid.column(align=True)
            column.template_icon(icon_value=previews.of_file(shown.picture), scale=SCALE)
            icon = "PLAY" if shown.opens.suffix == ".mp4" else "FULLSCREEN_ENTER"
            column.operator("bozzetto.open_picture", text=shown.title, icon=icon).filepath = str(shown.opens)


def pictures_of(scene: bpy.types.Scene) -> list[Finished]:
    """The finished pictures of the scene's job, until then the first look at it; empty before there are shots."""
    state = state_of(scene)
    if not state.results:
        return []
    look = first_look_of(scene)
    return finished(scene, output_folder(scene, state.sheet.name)) or ([Finished(LOOK, look, look)] if look.is_file() else [])


def first_look_of(scene: bpy.types.Scene) -> Path:
    """The file of a job's first picture while Blender is open."""
    return Path(bpy.app.tempdir) / f"first look {scene.session_uid}.png"


def first_look_at(scene: bpy.types.Scene) -> Callable[[Stage], None]:
    """A function that renders the hero of the scene's job for the first look."""
    path = first_look_of(scene)
    path.unlink(missing_ok=True)  # of an earlier job in this scene

    def look(stage: Stage) -> None:
        device = str(stage.sheet[maker("pictures", catalogue()).name].device)
        try_hero(stage, path, side=LOOK_SIDE, device=device)

    return look


def picture_of_first_shot(scene: bpy.types.Scene) -> Finished | None:
    """The finished picture of the first shot, titled for the view; until then the first look at it."""
    shots = shots_of(scene)
    out = output_folder(scene, state_of(scene).sheet.name)
    done = out / "pictures" / f"{shots[0].get(roles.KEY, shots[0].name)}.png" if shots else None
    if done is not None and done.is_file():
        return Finished("The finished picture; the others follow", done, done)
    look = first_look_of(scene)
    if not look.is_file():
        return None
    return Finished("A first look, without its fine relief and debris; the pictures follow", look, look)


class BOZZETTO_OT_open_picture(bpy.types.Operator):
    """Open this picture at full size in an image editor; a video opens in the system's player"""

    bl_idname = "bozzetto.open_picture"
    bl_label = "Open large"
    bl_options = {"INTERNAL"}

    filepath: StringProperty(subtype="FILE_PATH", options={"SKIP_SAVE"})

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Use an open image editor, or else a new window."""
        path = Path(self.filepath)
        if not path.is_file():
            self.report({"INFO"}, f'"{path.name}" is no longer there: make the pictures again')
            return {"CANCELLED"}
        if path.suffix == ".mp4":
            return set(bpy.ops.wm.path_open(filepath=str(path)))
        image = bpy.data.images.load(str(path), check_existing=True)
        image.reload()
        area = image_editor(context)
        if area is None:
            self.report({"INFO"}, "There is no window to open it in")
            return {"CANCELLED"}
        area.spaces.active.image = image
        area.tag_redraw()
        bpy.app.timers.register(partial(show_whole, image.name), first_interval=DRAWN_S)
        return {"FINISHED"}


def show_whole(name: str) -> None:
    """Fit an image into the editors that show it: a still of 3000 px is wider than most screens. Called once a new window is
    drawn, since it has no size before."""
    for window in bpy.context.window_manager.windows:
        for area in window.screen.areas:
            shown = area.spaces.active.image if area.type == "IMAGE_EDITOR" else None
            if shown is not None and shown.name == name:
                region = next(region for region in area.regions if region.type == "WINDOW")
                with contextlib.suppress(RuntimeError), bpy.context.temp_override(window=window, area=area, region=region):
                    bpy.ops.image.view_all(fit_view=True)


def image_editor(context: bpy.types.Context) -> bpy.types.Area | None:
    """An image editor that is open, or one in a new window; None where Blender has no window."""
    windows = context.window_manager.windows
    for window in windows:
        for area in window.screen.areas:
            if area.type == "IMAGE_EDITOR" and area.spaces.active.mode == "VIEW":
                return area
    if bpy.app.background or not windows:
        return None
    bpy.ops.wm.window_new()
    area = windows[-1].screen.areas[0]
    area.ui_type = "IMAGE_EDITOR"
    return area


# --- the view ----------------------------------------------------------------------------------------------------------


def show_first_shot(window: bpy.types.Window, *, lit: bool) -> None:
    """Make the window's largest 3D view look through the first shot. lit: with lit shading instead of solid."""
    scene = window.scene
    shots, area = shots_of(scene), largest_view(window)
    if not shots or area is None:
        return
    camera, space = shots[0], area.spaces.active
    scene.camera = camera
    lens_drivers.frame_as(scene, camera)
    space.region_3d.view_perspective = "CAMERA"
    centre_camera(window, area)
    if lit:
        space.shading.type = lit_shading()
    elif space.shading.type == "SOLID":
        space.shading.color_type = "MATERIAL"  # as textures a piece in a procedural material would show its normal map
    area.tag_redraw()


def show_subject(window: bpy.types.Window) -> None:
    """Make the window's largest 3D view look at what there is of the subject: in Blender's own view it would be a dot."""
    scene, area = window.scene, largest_view(window)
    job = str(scene.get(roles.JOB, ""))
    for wanted in (("piece", "stand"), ("upright",), ("clean",), ("scan",)):
        items = [item for role in wanted for item in roles.players(job, role=role, scene=scene, kinds=("objects",))]
        corners = [item.matrix_world @ Vector(corner) for item in items if item.visible_get() for corner in item.bound_box]
        if corners:
            break
    if area is None or not corners:
        return
    low, high = (Vector(map(side, zip(*corners, strict=True))) for side in (min, max))
    space, size = area.spaces.active, (high - low).length
    space.region_3d.view_location, space.region_3d.view_distance = 0.5 * (low + high), DISTANCE * size
    space.clip_start = min(space.clip_start, 0.01 * size)
    area.tag_redraw()


def centre_camera(window: bpy.types.Window, area: bpy.types.Area) -> None:
    """Fit the camera's frame into the part of the view beside the sidebar."""
    regions = {region.type: region for region in area.regions}
    with bpy.context.temp_override(window=window, area=area, region=regions["WINDOW"]):
        bpy.ops.view3d.view_center_camera()
    view, covered = area.spaces.active.region_3d, regions["UI"].width if area.spaces.active.show_region_ui else 0
    whole = regions["WINDOW"].width
    if 1 < covered < 0.7 * whole:
        # The frame spans the region at the zoom found; Blender's zoom z scales by (sqrt(2) + z / 50)^2 / 4.
        scale = (math.sqrt(2.0) + view.view_camera_zoom / 50.0) ** 2 / 4.0
        scale *= 1.0 - covered / whole
        view.view_camera_zoom = 50.0 * (2.0 * math.sqrt(scale) - math.sqrt(2.0))
        view.view_camera_offset = (0.25 * covered / whole / scale, 0.0)


def lit_shading() -> str:
    """How the view can show the lit set on this machine: rendered where Cycles has a card or nothing draws quickly, else
    Blender's material preview."""
    import gpu

    if find_device("auto").setting == "GPU" or gpu.platform.device_type_get() in SLOW_DRAWING:
        return "RENDERED"
    return "MATERIAL"


def largest_view(window: bpy.types.Window) -> bpy.types.Area | None:
    """The window's largest 3D view, or None."""
    views = [area for area in window.screen.areas if area.type == "VIEW_3D"]
    return max(views, key=lambda area: area.width * area.height, default=None)


CLASSES = (BOZZETTO_OT_open_picture,)
