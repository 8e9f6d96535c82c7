"""What is drawn over the 3D view: where the active shot's sharp zone cuts the piece, and the lens's read-out.

The planes of near limit, focus and far limit are drawn as the lines in which they cut the piece; what is sharp between them
is hatched. It is switched on in Blender's Overlays menu and in the lens's panel.
"""

from __future__ import annotations

import math
from typing import Any

import bpy
import numpy as np

from ..core.arrays import Floats
from ..core.mesh.sections import hatching, level_lines
from ..core.shots.lens_answers import ReadOut, read_out
from ..scene import roles
from ..scene.meshes import MM
from ..scene.shots import cameras, lens_drivers

SHOWN = "bozzetto_show_sharp"
_SLOT = "bozzetto_overlay"
HUE = (0.45, 0.92, 1.0)
"""The colour (linear RGB) of all lines, unlike Blender's own for what is selected; they differ in weight and hatching."""


class SharpZone:
    """Draws the zone; keeps the lines until camera or piece change."""

    def __init__(self) -> None:
        self._handles: list[Any] = []
        self._state: tuple[Any, ...] = ()
        self._batches: list[tuple[Any, float, float]] = []

    def start(self) -> None:
        """Have Blender call the drawing."""
        for draw, kind in ((self.draw_lines, "POST_VIEW"), (self.draw_words, "POST_PIXEL")):
            self._handles.append(bpy.types.SpaceView3D.draw_handler_add(draw, (), "WINDOW", kind))

    def stop(self) -> None:
        """Take the drawing back."""
        for handle in self._handles:
            bpy.types.SpaceView3D.draw_handler_remove(handle, "WINDOW")
        self._handles, self._batches, self._state = [], [], ()

    def draw_lines(self) -> None:
        """The cuts and the hatching, in the scene."""
        camera = shown_camera(bpy.context)
        piece = piece_of(camera) if camera else None
        if camera is None or piece is None:
            return
        import gpu

        state = _state_of(camera, piece)
        if state != self._state:
            self._batches, self._state = _batches(zone_lines(camera, piece)), state
        shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
        shader.bind()
        shader.uniform_float("viewportSize", gpu.state.viewport_get()[2:])
        gpu.state.blend_set("ALPHA")
        gpu.state.depth_test_set("LESS_EQUAL")
        with gpu.matrix.push_pop():
            gpu.matrix.load_matrix(_nearer(gpu.matrix.get_model_view_matrix(), gpu.matrix.get_projection_matrix()))
            for batch, width, alpha in self._batches:
                shader.uniform_float("lineWidth", width)
                shader.uniform_float("color", (*HUE, alpha))
                batch.draw(shader)
        gpu.state.depth_test_set("NONE")
        gpu.state.blend_set("NONE")

    def draw_words(self) -> None:
        """The read-out, in the corner."""
        camera = shown_camera(bpy.context)
        if camera is None:
            return
        import blf

        scale = bpy.context.preferences.system.ui_scale
        blf.size(0, 12.0 * scale)
        blf.color(0, *HUE, 1.0)
        blf.enable(0, blf.SHADOW)
        blf.shadow(0, 5, 0.0, 0.0, 0.0, 0.9)
        for place, (name, value) in enumerate(reversed(read_out_of(camera).lines())):
            blf.position(0, 20.0 * scale, (24.0 + 16.0 * place) * scale, 0.0)
            blf.draw(0, f"{name}: {value}" if name else value)
        blf.disable(0, blf.SHADOW)


def shown_camera(context: bpy.types.Context) -> bpy.types.Object | None:
    """The scene's active shot camera, when the overlay is on."""
    if not getattr(context.window_manager, SHOWN, False):
        return None
    camera = context.scene.camera
    return camera if camera is not None and lens_drivers.FOCAL in camera else None


def piece_of(camera: bpy.types.Object) -> bpy.types.Object | None:
    """The piece of the camera's job."""
    found = roles.players(camera.get(roles.JOB, ""), role="piece")
    return next((item for item in found if isinstance(item, bpy.types.Object) and item.type == "MESH"), None)


def read_out_of(camera: bpy.types.Object) -> ReadOut:
    """The read-out of a shot camera, its working distance up to the nearest point of the piece."""
    lens = cameras.optics_of(camera)
    piece = piece_of(camera)
    nearest = None if piece is None or not len(piece.data.vertices) else _nearest_mm(camera, piece)
    return read_out(lens, camera[lens_drivers.FRAME], camera[lens_drivers.COC], nearest_mm=nearest)


def _nearest_mm(camera: bpy.types.Object, piece: bpy.types.Object) -> float:
    """Distance from the camera, along its axis, to the nearest point of the piece, mm; computed again when either changes."""
    state = (*_state_of(camera, piece), piece.mode)  # sculpting changes the points alone, but it has a beginning and an end
    if _nearest.get("state") != state:
        _nearest["state"], _nearest["mm"] = state, _measured_mm(camera, piece)
    return float(_nearest["mm"])


_nearest: dict[str, Any] = {}
"""The last working distance, with what it depends on: panels ask for it at every redraw, and a piece has many points."""


def _measured_mm(camera: bpy.types.Object, piece: bpy.types.Object) -> float:
    back = camera.matrix_world.col[2].to_3d().normalized()
    # In the piece's own space, so that the vertices need not be turned: d = back . (camera - world v).
    local = np.array(piece.matrix_world.to_3x3().transposed() @ back, np.float32)
    start = back.dot(camera.matrix_world.translation - piece.matrix_world.translation)
    return MM * (start - float((_points(piece.data) @ local).max()))


def zone_lines(camera: bpy.types.Object, piece: bpy.types.Object) -> dict[str, Any]:
    """Segments (k, 2, 3) in metres: 'near', 'focus', 'far' where the planes cut the piece, 'sharp' the hatching between."""
    mesh = piece.data
    mesh.calc_loop_triangles()
    faces = np.zeros(len(mesh.loop_triangles) * 3, np.int32)
    mesh.loop_triangles.foreach_get("vertices", faces)
    world = np.array(piece.matrix_world)
    points = _points(mesh).astype(float) @ world[:3, :3].T + world[:3, 3]
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


def _batches(lines: dict[str, Any]) -> list[tuple[Any, float, float]]:
    import gpu
    from gpu_extras.batch import batch_for_shader

    shader = gpu.shader.from_builtin("POLYLINE_UNIFORM_COLOR")
    weights = {"sharp": (1.2, 0.45), "near": (2.0, 0.9), "far": (2.0, 0.9), "focus": (3.5, 1.0)}
    made = []
    for name, (width, alpha) in weights.items():
        if len(lines[name]):
            points = lines[name].reshape(-1, 3).astype(np.float32)
            made.append((batch_for_shader(shader, "LINES", {"pos": points}), width, alpha))
    return made


def _state_of(camera: bpy.types.Object, piece: bpy.types.Object) -> tuple[Any, ...]:
    """What the lines depend on."""
    numbers = [value for row in (*camera.matrix_world, *piece.matrix_world) for value in row]
    numbers += [camera[name] for name in (lens_drivers.NEAR, lens_drivers.DISTANCE, lens_drivers.FAR)]
    rounded = tuple(round(value, 7) if math.isfinite(value) else 0.0 for value in numbers)
    return (piece.name, len(piece.data.vertices), piece.data.session_uid, *rounded)


def _points(mesh: bpy.types.Mesh) -> Floats:
    """(n, 3) float32 vertices in the mesh's own space."""
    values = np.zeros(len(mesh.vertices) * 3, np.float32)
    mesh.attributes["position"].data.foreach_get("vector", values)
    return values.reshape(-1, 3)


def _nearer(view: Any, projection: Any) -> Any:
    """The view's matrix, with all a thousandth nearer to the eye at the same place on screen: a surface must not hide the lines
    on it."""
    from mathutils import Matrix

    if projection[3][3] == 0.0:  # perspective: shrink towards the eye
        return Matrix.Scale(0.999, 4) @ view
    return Matrix.Translation((0.0, 0.0, 0.002 / abs(projection[1][1]))) @ view


def draw_switch(self: bpy.types.Panel, context: bpy.types.Context) -> None:
    """The switch in Blender's Overlays menu."""
    self.layout.prop(context.window_manager, SHOWN)


def register() -> None:
    """Add the switch and the drawing."""
    setattr(
        bpy.types.WindowManager, SHOWN,
        bpy.props.BoolProperty(name="Sharp zone of the shot", description="Show where the lens is sharp on the piece"),
    )  # fmt: skip
    bpy.types.VIEW3D_PT_overlay.append(draw_switch)
    zone = SharpZone()
    zone.start()
    # Kept on Blender's own type: a module holds no state, and 4.5 hangs at exit once the drivers' namespace was touched.
    setattr(bpy.types.WindowManager, _SLOT, zone)


def unregister() -> None:
    """Take it all back."""
    zone = getattr(bpy.types.WindowManager, _SLOT, None)
    if zone is not None:
        zone.stop()
        delattr(bpy.types.WindowManager, _SLOT)
    bpy.types.VIEW3D_PT_overlay.remove(draw_switch)
    if hasattr(bpy.types.WindowManager, SHOWN):
        delattr(bpy.types.WindowManager, SHOWN)
