"""Shows where the active shot's lens is sharp on the piece, and the lens's read-out.

The planes of near limit, focus and far limit are drawn as their intersections with the piece; the sharp part is hatched.
"""

from __future__ import annotations

import math
from typing import Any

import bpy
import numpy as np

from ...core.arrays import Floats
from ...core.mesh.sections import hatching, level_lines
from ...core.shots.lens_answers import ReadOut, read_out
from ...scene import roles
from ...scene.meshes import MM
from ...scene.shots import cameras, lens_drivers
from .drawn_lines import EDGE, HATCHING, HEAVY, Lines, State, draw_words

SHOWN = "bozzetto_show_sharp"


def draw_read_out() -> None:
    """Draw the read-out in the view's corner."""
    camera = shown_camera(bpy.context)
    if camera is None:
        return
    scale = bpy.context.preferences.system.ui_scale
    lines = [f"{name}: {value}" if name else value for name, value in read_out_of(camera).lines()]
    draw_words(lines, 20.0 * scale, 24.0 * scale)


def shot_camera(scene: bpy.types.Scene) -> bpy.types.Object | None:
    """The scene's camera if it is a shot, else None."""
    camera = scene.camera
    return camera if camera is not None and lens_drivers.FOCAL in camera else None


def shown_camera(context: bpy.types.Context) -> bpy.types.Object | None:
    """The scene's active shot camera, when the overlay is on."""
    if not getattr(context.window_manager, SHOWN, False):
        return None
    return shot_camera(context.scene)


def piece_of(camera: bpy.types.Object) -> bpy.types.Object | None:
    """The piece of the camera's job."""
    found = roles.players(camera.get(roles.JOB, ""), role="piece", kinds=("objects",))
    return next((item for item in found if isinstance(item, bpy.types.Object) and item.type == "MESH"), None)


def read_out_of(camera: bpy.types.Object) -> ReadOut:
    """The read-out of a shot camera, its working distance up to the nearest point of the piece."""
    lens = cameras.optics_of(camera)
    piece = piece_of(camera)
    nearest = None if piece is None or not len(piece.data.vertices) else _nearest_mm(camera, piece)
    return read_out(lens, camera[lens_drivers.FRAME], camera[lens_drivers.COC], nearest_mm=nearest)


def _nearest_mm(camera: bpy.types.Object, piece: bpy.types.Object) -> float:
    """Distance along the camera's axis to the nearest point of the piece, mm; cached until camera or piece changes."""
    state = (*_state_of(camera, piece), piece.mode)  # sculpting changes only points, but begins with a mode change
    if _nearest.get("state") != state:
        _nearest["state"], _nearest["mm"] = state, _measured_mm(camera, piece)
    return float(_nearest["mm"])


_nearest: dict[str, Any] = {}
"""Cache: the last working distance with its state, since panels need it at every redraw."""


def _measured_mm(camera: bpy.types.Object, piece: bpy.types.Object) -> float:
    back = camera.matrix_world.col[2].to_3d().normalized()
    # In the piece's own space, so that the vertices need not be turned: d = back . (camera - world v).
    local = np.array(piece.matrix_world.to_3x3().transposed() @ back, np.float32)
    start = back.dot(camera.matrix_world.translation - piece.matrix_world.translation)
    return MM * (start - float((vertices_of(piece.data) @ local).max()))


def zone_lines(camera: bpy.types.Object, piece: bpy.types.Object) -> dict[str, Any]:
    """Segments (k, 2, 3) in metres: 'near', 'focus', 'far' where the planes cut the piece, 'sharp' the hatching between."""
    mesh = piece.data
    mesh.calc_loop_triangles()
    faces = np.zeros(len(mesh.loop_triangles) * 3, np.int32)
    mesh.loop_triangles.foreach_get("vertices", faces)
    world = np.array(piece.matrix_world)
    points = vertices_of(mesh).astype(float) @ world[:3, :3].T + world[:3, 3]
    matrix = np.array(camera.matrix_world)
    right, up, back = (matrix[:3, :3] / np.linalg.norm(matrix[:3, :3], axis=0)).T
    axis, across = -back, (right + up) / math.sqrt(2.0)
    origin = float(matrix[:3, 3] @ axis)
    faces = faces.reshape(-1, 3)
    near, focus, far = (origin + camera[name] / MM for name in (lens_drivers.NEAR, lens_drivers.DISTANCE, lens_drivers.FAR))
    depth = points @ axis
    lines = {name: level_lines(points, faces, depth, level) for name, level in (("near", near), ("focus", focus), ("far", far))}
    spacing = max(float(np.ptp(points, axis=0).max()) / 60.0, 1e-5)
    return lines | {"sharp": hatching(points, faces, axis=axis, across=across, depths=(near, far), spacing=spacing)}


def _zone_state(scene: bpy.types.Scene) -> State | None:
    camera = shot_camera(scene)
    piece = piece_of(camera) if camera else None
    return None if camera is None or piece is None else _state_of(camera, piece)


def _zone_lines(scene: bpy.types.Scene) -> Lines:
    camera = shot_camera(scene)
    found = zone_lines(camera, piece_of(camera))
    weights = {"sharp": HATCHING, "near": EDGE, "far": EDGE, "focus": HEAVY}
    return {name: (found[name], weight) for name, weight in weights.items()}


zone = (_zone_state, _zone_lines)
"""State and lines of the zone."""


def _state_of(camera: bpy.types.Object, piece: bpy.types.Object) -> tuple[object, ...]:
    """The state on which the lines depend."""
    numbers = [value for row in (*camera.matrix_world, *piece.matrix_world) for value in row]
    numbers += [camera[name] for name in (lens_drivers.NEAR, lens_drivers.DISTANCE, lens_drivers.FAR)]
    rounded = tuple(round(value, 7) if math.isfinite(value) else 0.0 for value in numbers)
    return (piece.name, len(piece.data.vertices), piece.data.session_uid, *rounded)


def vertices_of(mesh: bpy.types.Mesh) -> Floats:
    """(n, 3) float32 vertices in the mesh's own space."""
    values = np.zeros(len(mesh.vertices) * 3, np.float32)
    mesh.attributes["position"].data.foreach_get("vector", values)
    return values.reshape(-1, 3)
