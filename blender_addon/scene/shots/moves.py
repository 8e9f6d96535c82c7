"""Camera moves as Blender data: a camera with a key per frame, and its path read back from it."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
from mathutils import Matrix

from ...core.arrays import Floats
from ...core.mesh.topology import joined
from ...core.shots import formats, optics, sight
from ...core.shots.framing import CameraPose, half_slopes, project
from ...core.shots.moves.paths import From, Path
from ..meshes import MM, read_mesh
from ..roles import has
from ..spatial import SurfaceQueries
from . import lens_drivers as key
from .cameras import Lens, make_camera, optics_of, shot_view

if TYPE_CHECKING:
    import bpy

    from ..stage import Stage

MOVE, PATH, OF, FPS = "bozzetto_move", "bozzetto_path", "bozzetto_of", "bozzetto_fps"
"""On a move's camera: its kind; thirteen numbers per frame (position in mm, rotation by rows, focus in mm); its shot; frames
per second."""
TARGET = "bozzetto_target"
"""On a shot's camera: the point in focus, mm."""
SHAPE = (1920, 1080)
"""Size of a film's frames in px at full size (16:9, ITU-R BT.709)."""
LOOKED_AT = 9
"""The number of frames of a move in which the dressing keeps the view clear."""
FIRST_FRAME = 1001
"""The frame of the scene at which a move's keys begin: after the turntable's, when the subject is at rest."""


def start_of(shot: bpy.types.Object, surface: SurfaceQueries) -> From:
    """The start of a shot's move: its present camera, moved back so that a 16:9 frame shows as much of the height."""
    lens = optics_of(shot)
    matrix = np.array(shot.matrix_basis, float)
    rotation, position = matrix[:3, :3] / np.linalg.norm(matrix[:3, :3], axis=0), matrix[:3, 3] * MM
    sensor = tuple(float(side) for side in shot[key.FORMAT])
    before = formats.frame_used(sensor[0], sensor[1], tuple(shot[key.RESOLUTION]))
    used = formats.frame_used(sensor[0], sensor[1], SHAPE)
    m = lens.magnification * min(1.0, used[1] / before[1])
    distance = optics.focus_for(lens.focal_mm, m, pupil_ratio=lens.pupil_ratio)
    stepped = CameraPose(position + rotation[:, 2] * (distance - lens.focus_mm), rotation, distance)
    return From(stepped, replace(lens, focus_mm=distance), used, _target(shot, surface, position, rotation, lens.focus_mm))


def _target(shot: bpy.types.Object, surface: SurfaceQueries, position: Floats, rotation: Floats, focus_mm: float) -> Floats:
    """The point in focus; where the camera was moved by hand, the surface point nearest to the axis at the focus distance."""
    on_axis = position - focus_mm * rotation[:, 2]
    if has(shot, TARGET):
        kept = np.array(shot[TARGET], float)
        if abs(float((kept - on_axis) @ rotation[:, 2])) < 0.5 * focus_mm:
            return kept
    near, face, _ = surface.nearest(on_axis[None])
    return near[0] if face[0] >= 0 else on_axis


def make_move_camera(name: str, found: Path, shot: bpy.types.Object, *, fps: int, extra: dict[str, object]) -> bpy.types.Object:
    """A camera with a key per frame for a shot's move, with the shot's lens and light.

    fps: frames a second.
    """
    lens = lens_of(shot, found.optics)
    item = make_camera(name, pose_at_frame(found, 0), lens, extra=extra)
    item[MOVE], item[FPS], item[OF] = found.kind, fps, str(shot.get("bozzetto_key", shot.name))
    flat = np.concatenate([found.positions, found.rotations.reshape(-1, 9), found.focus_mm[:, None]], axis=1)
    item[PATH] = [float(value) for value in flat.ravel()]
    item.rotation_mode = "QUATERNION"
    for frame in range(len(found.positions)):
        pose = pose_at_frame(found, frame)
        matrix = np.eye(4)
        matrix[:3, :3], matrix[:3, 3] = pose.rotation, pose.position / MM
        item.matrix_basis = Matrix(matrix.tolist())
        item[key.FOCUS] = pose.focus_mm
        for place in ("location", "rotation_quaternion", f'["{key.FOCUS}"]'):
            item.keyframe_insert(place, frame=FIRST_FRAME + frame)
    item.animation_data.action.name = name
    return item


def lens_of(shot: bpy.types.Object, lens: optics.Optics) -> Lens:
    """A shot's format and circle of confusion with other optics, for a film's frame."""
    sensor = tuple(float(side) for side in shot[key.FORMAT])
    return Lens(lens, (sensor[0], sensor[1]), SHAPE, str(shot[key.KIND]), float(shot[key.COC]), int(shot.get(key.BLADES, 0)))


def path_of(item: bpy.types.Object) -> Path:
    """The path of a move's camera; its targets are the points in focus on the axis."""
    flat = np.array(item[PATH], float).reshape(-1, 13)
    positions, rotations, focus = flat[:, :3], flat[:, 3:12].reshape(-1, 3, 3), flat[:, 12]
    lens = replace(optics_of(item), focus_mm=float(focus[-1]))
    return Path(str(item[MOVE]), positions, rotations, focus, positions - focus[:, None] * rotations[:, :, 2], lens)


def pose_at_frame(found: Path, frame: int) -> CameraPose:
    """The camera's pose at a frame, counted from 0."""
    return CameraPose(found.positions[frame], found.rotations[frame], float(found.focus_mm[frame]))


def move_views(stage: Stage, points: Floats) -> list[sight.ShotView]:
    """The views of a few frames of each move, which the dressing keeps clear. points: the subject's, (n, 3) mm."""
    views = []
    for name, item in stage.find_all("move").items():
        found = path_of(item)
        shown = shot_view(item, points)
        for frame in np.unique(np.linspace(0, len(found.focus_mm) - 1, LOOKED_AT).round().astype(int)):
            view = _seen_from(shown, pose_at_frame(found, int(frame)), item, points)
            views.append(replace(view, name=name, kind="move"))
    return views


def _seen_from(view: sight.ShotView, pose: CameraPose, item: bpy.types.Object, points: Floats) -> sight.ShotView:
    lens = replace(optics_of(item), focus_mm=pose.focus_mm)
    near, far = optics.limits(lens, item[key.COC])
    slopes, depth = project(points, pose.position, pose.rotation)
    ahead = depth > 1.0
    return replace(
        view, position=pose.position, rotation=pose.rotation, focus_mm=pose.focus_mm, near_mm=near, far_mm=far,
        half_slopes=half_slopes(lens, formats.frame_used(float(item[key.FORMAT][0]), float(item[key.FORMAT][1]), SHAPE)),
        outline=sight.convex_outline(slopes[ahead]) if ahead.any() else np.zeros((0, 2)),
        subject_near_mm=float(depth[ahead].min()) if ahead.any() else 0.0, subject_far_mm=float(depth.max(initial=0.0)),
    )  # fmt: skip


def subject_surface(stage: Stage) -> SurfaceQueries:
    """A search tree over the subject, mm."""
    return surface_queries(stage.subject())


def surface_queries(items: Sequence[bpy.types.Object]) -> SurfaceQueries:
    """A search tree over objects at their places in the scene, mm."""
    mesh = joined([read_mesh(item, scale=MM) for item in items])
    return SurfaceQueries(mesh.vertices, mesh.faces)
