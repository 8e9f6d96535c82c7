"""Makes a shot from the 3D view: one click adds a row to the shot list, which later runs keep."""

from __future__ import annotations

import bpy
import numpy as np
from bpy_extras import view3d_utils

from ...core.shots.crop_box import BoxShot, seen_from
from ...core.shots.formats import frame_used
from ...scene.meshes import MM
from ...scene.shots.lens_drivers import FOCAL, FORMAT, RESOLUTION
from ...scene.shots.moves import subject_surface
from ...scene.stage import Stage
from ..job_state import settings_for, stage_of
from ..watched_work import run_again


class BOZZETTO_OT_shot_from_view(bpy.types.Operator):
    """Add a shot from the present view, with a true lens, in focus where the centre of the view meets the subject"""

    bl_idname = "bozzetto.shot_from_view"
    bl_label = "Shot of this view"
    bl_options = {"INTERNAL"}  # the run that follows is the one undo step

    @classmethod
    def poll(cls, context: bpy.types.Context) -> bool:
        """Only in a 3D view."""
        return context.region_data is not None

    def execute(self, context: bpy.types.Context) -> set[str]:
        """Read the view, add the row, and solve the shot."""
        stage = stage_of(context)
        lead = next(iter(stage.find_all("shot").values()), None)
        if stage.find("piece") is None or lead is None:
            self.report({"INFO"}, "Run until Camera first: there is no piece with shots yet")
            return {"CANCELLED"}
        add_row(context.scene, seen_in(context, stage, lead), "view")
        return run_again(self, "shot")


def seen_in(context: bpy.types.Context, stage: Stage, lead: bpy.types.Object) -> BoxShot:
    """The view as a shot, with the focal length, format and resolution of the shot `lead`."""
    region, data = context.region, context.region_data
    middle = (0.5 * region.width, 0.5 * region.height)
    way = np.array(view3d_utils.region_2d_to_vector_3d(region, data, middle), np.float64)
    origin = np.array(view3d_utils.region_2d_to_origin_3d(region, data, middle), np.float64) * MM
    surface = subject_surface(stage)
    face, far = surface.cast(origin[None], way[None])
    focus = (
        origin + far[0] * way if face[0] >= 0 else surface.nearest(np.array(data.view_location, np.float64)[None] * MM)[0][0]
    )
    ends = [
        np.array(view3d_utils.region_2d_to_location_3d(region, data, corner, tuple(focus / MM)), np.float64) * MM
        for corner in ((0.0, middle[1]), (region.width, middle[1]), (middle[0], 0.0), (middle[0], region.height))
    ]
    across, up = np.linalg.norm(ends[1] - ends[0]), np.linalg.norm(ends[3] - ends[2])
    used = frame_used(float(lead[FORMAT][0]), float(lead[FORMAT][1]), tuple(lead[RESOLUTION]))
    azimuth, tilt, _ = seen_from(-way, np.zeros(3))
    width, height = lead[RESOLUTION]
    return BoxShot(azimuth, tilt, focus, float(min(used[0] / across, used[1] / up)), float(lead[FOCAL]), width / height)


def add_row(scene: bpy.types.Scene, shot: BoxShot, word: str, *, like: str = "") -> str:
    """Add the shot to the shot list, as `word` with the next free number; its name.

    like: the name of a shot whose set and hidden objects the new one shares; empty: none.
    """
    rows = settings_for(scene, "shot").shots
    taken = {row.name for row in rows}
    name = next(f"{word} {number}" for number in range(1, len(taken) + 2) if f"{word} {number}" not in taken)
    row = rows.add()
    kept = next((other for other in rows if other.name == like), None) if like else None
    row.name = name
    if kept is not None:
        row.set, row.hide = kept.set, kept.hide
    for field, value in (
        ("kind", "detail"), ("azimuth", np.radians(shot.azimuth_deg)), ("tilt", np.radians(np.clip(shot.tilt_deg, -20.0,
        90.0))), ("magnification", float(np.clip(shot.magnification, 0.01, 10.0))), ("focus", [float(part) / MM for part in
        shot.focus]), ("focal_length", shot.focal_mm / MM), ("aspect", float(np.clip(shot.aspect, 0.1, 10.0))),
    ):  # fmt: skip
        setattr(row, field, value)
        setattr(row, f"use_{field}", True)
    return name


CLASSES = (BOZZETTO_OT_shot_from_view,)
