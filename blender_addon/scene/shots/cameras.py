"""Makes and reads the cameras of shots: custom properties to edit, and drivers that keep the optics right without the add-on.

The camera object's own properties are what a photographer sets (focal length, f-number, focus, format). `lens_drivers` makes
Blender's lens, sensor, f-stop, near clip and the read-outs follow them.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import bpy
import numpy as np
from mathutils import Matrix

from ...core.arrays import Floats
from ...core.dressing.tangency import outline_in_frame
from ...core.mesh.preview import sampled_by_area
from ...core.mesh.similarity import rotation_about
from ...core.records import record
from ...core.shots import formats, optics, sight
from ...core.shots.framing import CameraPose, half_slopes, project, swept
from ..meshes import MM, read_mesh
from . import lens_drivers as key

if TYPE_CHECKING:
    from ..stage import Stage


@record
class Lens:
    """A shot's camera settings besides its pose: optics, format (mm), picture size (px), kind, circle of confusion (mm)."""

    optics: optics.Optics
    format_mm: tuple[float, float]
    resolution: tuple[int, int]
    kind: str
    coc_mm: float
    blades: int = 0


def make_camera(name: str, pose: CameraPose, lens: Lens, *, extra: dict[str, object] | None = None) -> bpy.types.Object:
    """A new camera object, not linked to any collection. extra: further custom properties, such as the shot's light."""
    data = bpy.data.cameras.new(name)
    item = bpy.data.objects.new(name, data)
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = pose.rotation, pose.position / MM
    item.matrix_basis = Matrix(matrix.tolist())
    _properties(item, lens)
    for title, value in (extra or {}).items():
        item[title] = value
    _write_now(item, lens)
    key.drive(item)
    return item


def optics_of(item: bpy.types.Object) -> optics.Optics:
    """The optics that a shot's camera is set to."""
    return optics.Optics(item[key.FOCAL], item[key.FNUMBER], item.get(key.DISTANCE, item[key.FOCUS]), item.get(key.PUPIL, 1.0))


def shot_view(item: bpy.types.Object, subject_mm: Floats | None = None) -> sight.ShotView:
    """The view of a shot's camera; with the subject's points (n, 3) in mm also the subject's outline."""
    lens = optics_of(item)
    matrix = np.array(item.matrix_basis, float)
    rotation = matrix[:3, :3] / np.linalg.norm(matrix[:3, :3], axis=0)
    position = matrix[:3, 3] * MM
    used = formats.frame_used(item[key.FORMAT][0], item[key.FORMAT][1], tuple(item[key.RESOLUTION]))
    near, far = optics.limits(lens, item[key.COC])
    outline, front, back = np.zeros((0, 2)), 0.0, 0.0
    if subject_mm is not None and len(subject_mm):
        slopes, depth = project(subject_mm, position, rotation)
        ahead = depth > 1.0
        if ahead.any():
            outline, front, back = sight.convex_outline(slopes[ahead]), float(depth[ahead].min()), float(depth.max())
    return sight.ShotView(
        name=item.get("bozzetto_key", item.name), kind=item.get(key.KIND, ""), position=position, rotation=rotation,
        half_slopes=half_slopes(lens, used), focus_mm=lens.focus_mm, near_mm=near, far_mm=far,
        aperture_mm=lens.aperture_mm, outline=outline, subject_near_mm=front, subject_far_mm=back,
    )  # fmt: skip


def shot_views(stage: Stage) -> list[sight.ShotView]:
    """The views of all shots of the job with the subject's outline; for the turntable, in all positions."""
    points = subject_points(stage)
    views = []
    for item in stage.find_all("shot").values():
        turning = item.get(key.KIND) == "turntable"
        seen = swept(points) if turning and item.get("bozzetto_turn", "subject") == "subject" else points
        view = shot_view(item, seen)
        if turning and item.get("bozzetto_turn") == "camera":
            views += [_turned(view, angle) for angle in np.arange(24) * (math.pi / 12.0)]
        else:
            views.append(view)
    return views


OUTLINE_POINTS, POSITIONS = 20_000, 24
"""Points on the subject for its outline, and positions of the turntable that are evaluated."""


def with_outlines(stage: Stage, views: Sequence[sight.ShotView]) -> list[sight.ShotView]:
    """The views with the subject's true outline in each frame; for the turntable, in all positions."""
    points = _points_on_subject(stage)
    shots = stage.find_all("shot")
    found = []
    for view in views:
        item = shots.get(view.name)
        angles = [0.0]
        if view.kind == "turntable" and item is not None and item.get("bozzetto_turn", "subject") == "subject":
            angles = [float(angle) for angle in np.arange(POSITIONS) * (2.0 * math.pi / POSITIONS)]
        outlines = tuple(outline_in_frame(points @ rotation_about("z", -angle), view) for angle in angles)
        found.append(replace(view, outlines=outlines))
    return found


def _points_on_subject(stage: Stage) -> Floats:
    """(n, 3) points distributed over piece and stand by area, mm."""
    meshes = [read_mesh(item, scale=MM) for item in stage.subject()]
    found = [np.zeros((0, 3))]
    for mesh in meshes:
        if len(mesh.faces):
            faces, weights = sampled_by_area(mesh, OUTLINE_POINTS)
            found.append(np.einsum("nk,nkc->nc", weights, mesh.vertices[mesh.faces[faces]]))
    return np.concatenate(found)


def _turned(view: sight.ShotView, angle: float) -> sight.ShotView:
    rotation = rotation_about("z", angle)
    return replace(view, position=rotation @ view.position, rotation=rotation @ view.rotation)


def subject_points(stage: Stage) -> Floats:
    """(n, 3) the vertices of piece and stand in world space, mm."""
    found = [vertices_mm(item) for item in stage.subject()]
    return np.concatenate(found) if found else np.zeros((0, 3))


def vertices_mm(item: bpy.types.Object) -> Floats:
    """(n, 3) float32 vertices of a mesh object in its parent's space (the world where it has none), mm."""
    mesh = item.data
    values = np.zeros(len(mesh.vertices) * 3, np.float32)
    if len(mesh.vertices):
        mesh.attributes["position"].data.foreach_get("vector", values)
    matrix = np.array(item.matrix_basis, float)
    return (values.reshape(-1, 3) @ matrix[:3, :3].T.astype(np.float32) + matrix[:3, 3].astype(np.float32)) * np.float32(MM)


def _properties(item: bpy.types.Object, lens: Lens) -> None:
    o = lens.optics
    values = {
        key.FOCAL: (o.focal_mm, "Focal length of the lens, mm", 1.0, 2000.0),
        key.FNUMBER: (o.fnumber, "f-number marked on the lens; higher: more depth of field, more diffraction", 0.5, 128.0),
        key.FOCUS: (o.focus_mm, "From the lens (entrance pupil) to the plane in focus, mm", 1.0, 1e6),
        key.PUPIL: (o.pupil_ratio, "Exit pupil over entrance pupil of the lens; 1 is symmetric", 0.1, 10.0),
        key.COC: (lens.coc_mm, "Blur on the sensor that still counts as sharp, mm", 1e-4, 1.0),
    }
    for name, (value, words, low, high) in values.items():
        item[name] = float(value)
        _explain(item, name, description=words, min=low, max=high, precision=4 if name == key.COC else 2)
    item[key.FORMAT] = [float(side) for side in lens.format_mm]
    _explain(item, key.FORMAT, description="Width and height of the sensor, mm", min=0.1, precision=2)
    item[key.BLADES] = int(lens.blades)
    _explain(item, key.BLADES, description="Blades of the iris; 0 is round", min=0, max=16)
    item[key.RESOLUTION] = [int(side) for side in lens.resolution]
    item[key.KIND] = lens.kind


def _explain(item: Any, name: str, **shown: str | float) -> None:
    """Set the tooltip and limits of a custom property (Blender's type stubs say that `id_properties_ui` returns nothing)."""
    item.id_properties_ui(name).update(**shown)


def _write_now(item: bpy.types.Object, lens: Lens) -> None:
    """Set the values that the drivers will compute, so that they are right before the first evaluation."""
    data, o = item.data, lens.optics
    used = formats.frame_used(*lens.format_mm, lens.resolution)
    written = optics.in_blender(o, used, blades=lens.blades)
    data.sensor_fit = "HORIZONTAL"
    data.lens, data.sensor_width, data.sensor_height = written.lens, written.sensor_width, written.sensor_height
    data.dof.use_dof = True
    data.dof.aperture_fstop, data.dof.aperture_blades = written.fstop, lens.blades
    data.dof.focus_distance = o.focus_mm / MM
    data.clip_start, data.clip_end = max(o.focus_mm / MM / 100.0, 1e-5), 100.0
    data.display_size = 0.03
    near, far = optics.limits(o, lens.coc_mm)
    item[key.MAGNIFICATION], item[key.EFFECTIVE] = o.magnification, o.effective_fnumber
    item[key.NEAR], item[key.FAR] = near, min(far, key.NEVER)
    stretch = 1.0 + o.magnification / o.pupil_ratio
    item[key.FRAME], item[key.STRETCH], item[key.GROW] = used[0], stretch, written.lens / o.focal_mm
    item[key.DISTANCE], item[key.FIELD] = o.focus_mm, used[0] / o.magnification
