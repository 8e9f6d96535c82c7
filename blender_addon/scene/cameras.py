"""Between a shot and Blender's camera: plain properties to edit, plain drivers that keep the optics right without the add-on.

The camera object's own properties are what a photographer sets (focal length, f-number, focus, format); Blender's lens,
sensor, f-stop and near clip are driven by them, and so are the read-outs. The expressions are of the simple kind that Blender
evaluates without running Python, so they work in any .blend, however it was opened.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, replace
from typing import Any

import bpy
import numpy as np
from mathutils import Matrix

from ..core import formats, optics, sight
from ..core.framing import Stand, half_slopes, project, swept

MM = 1000.0
FOCAL, FNUMBER, FOCUS, FORMAT = "bozzetto_focal_mm", "bozzetto_fnumber", "bozzetto_focus_mm", "bozzetto_format"
PUPIL, COC, BLADES = "bozzetto_pupil_ratio", "bozzetto_coc_mm", "bozzetto_blades"
KIND, RESOLUTION = "bozzetto_kind", "bozzetto_resolution"
MAGNIFICATION, EFFECTIVE = "bozzetto_magnification", "bozzetto_effective_fnumber"
NEAR, FAR = "bozzetto_near_mm", "bozzetto_far_mm"
FRAME, STRETCH, GROW = "bozzetto_frame_width_mm", "bozzetto_stretch", "bozzetto_grow"
NEVER = 1e9
"""Stands for infinity in the far limit, in mm: a custom property and a JSON file both want a finite number."""


@dataclass(frozen=True)
class Lens:
    """What a shot's camera is set to, besides where it stands: lens, format (mm), picture size (px), kind, sharpness."""

    optics: optics.Optics
    format_mm: tuple[float, float]
    resolution: tuple[int, int]
    kind: str
    coc_mm: float
    blades: int = 0


def make_camera(name: str, stand: Stand, lens: Lens, *, extra: dict[str, Any] | None = None) -> Any:
    """A new camera object, linked nowhere yet. `extra`: further custom properties, such as the shot's light."""
    data = bpy.data.cameras.new(name)
    item = bpy.data.objects.new(name, data)
    matrix = np.eye(4)
    matrix[:3, :3], matrix[:3, 3] = stand.rotation, stand.position / MM
    item.matrix_basis = Matrix(matrix.tolist())
    _properties(item, lens)
    for key, value in (extra or {}).items():
        item[key] = value
    _write_now(item, lens)
    _drive(item)
    return item


def optics_of(item: Any) -> optics.Optics:
    """The optics that a shot's camera is set to."""
    return optics.Optics(item[FOCAL], item[FNUMBER], item[FOCUS], item.get(PUPIL, 1.0))


def shot_view(item: Any, subject_mm: Any | None = None) -> sight.ShotView:
    """The view of a shot camera; with the subject's points (n, 3) mm also its outline, for the sight lines."""
    lens = optics_of(item)
    matrix = np.array(item.matrix_basis, float)
    rotation = matrix[:3, :3] / np.linalg.norm(matrix[:3, :3], axis=0)
    position = matrix[:3, 3] * MM
    used = formats.frame_used(*item[FORMAT], tuple(item[RESOLUTION]))
    near, far = optics.limits(lens, item[COC])
    outline, front, back = np.zeros((0, 2)), 0.0, 0.0
    if subject_mm is not None and len(subject_mm):
        slopes, depth = project(subject_mm, position, rotation)
        ahead = depth > 1.0
        if ahead.any():
            outline, front, back = sight.convex_outline(slopes[ahead]), float(depth[ahead].min()), float(depth.max())
    return sight.ShotView(
        name=item.get("bozzetto_key", item.name), kind=item.get(KIND, ""), position=position, rotation=rotation,
        half_slopes=half_slopes(lens, used), focus_mm=lens.focus_mm, near_mm=near, far_mm=far,
        aperture_mm=lens.aperture_mm, outline=outline, subject_near_mm=front, subject_far_mm=back,
    )  # fmt: skip


def shot_views(stage: Any) -> list[sight.ShotView]:
    """The views of all shots of the job, with the subject's outline; a turning camera or subject in all its positions."""
    points = subject_points(stage)
    views = []
    for item in stage.find_all("shot").values():
        turning = item.get(KIND) == "turntable"
        seen = swept(points) if turning and item.get("bozzetto_turn", "subject") == "subject" else points
        view = shot_view(item, seen)
        if turning and item.get("bozzetto_turn") == "camera":
            views += [_turned(view, angle) for angle in np.arange(24) * (math.pi / 12.0)]
        else:
            views.append(view)
    return views


def _turned(view: sight.ShotView, angle: float) -> sight.ShotView:
    cos, sin = math.cos(angle), math.sin(angle)
    turn = np.array([[cos, -sin, 0.0], [sin, cos, 0.0], [0.0, 0.0, 1.0]])
    return replace(view, position=turn @ view.position, rotation=turn @ view.rotation)


def subject_points(stage: Any) -> Any:
    """(n, 3) the vertices of piece and stand in world space, mm."""
    found = [vertices_mm(item) for role in ("piece", "stand") for item in stage.find_all(role).values()]
    return np.concatenate(found) if found else np.zeros((0, 3))


def vertices_mm(item: Any) -> Any:
    """(n, 3) float32 vertices of a mesh object in its parent's space (the world where it has none), mm."""
    mesh = item.data
    values = np.zeros(len(mesh.vertices) * 3, np.float32)
    if len(mesh.vertices):
        mesh.attributes["position"].data.foreach_get("vector", values)
    matrix = np.array(item.matrix_basis, float)
    return (values.reshape(-1, 3) @ matrix[:3, :3].T.astype(np.float32) + matrix[:3, 3].astype(np.float32)) * np.float32(MM)


def _properties(item: Any, lens: Lens) -> None:
    o = lens.optics
    values = {
        FOCAL: (o.focal_mm, "Focal length of the lens, mm", 1.0, 2000.0),
        FNUMBER: (o.fnumber, "The marked f-number", 0.5, 128.0),
        FOCUS: (o.focus_mm, "From the lens (entrance pupil) to the plane in focus, mm", 1.0, 1e6),
        PUPIL: (o.pupil_ratio, "Exit pupil over entrance pupil; 1 for a symmetric lens", 0.1, 10.0),
        COC: (lens.coc_mm, "Blur on the sensor that still counts as sharp, mm", 1e-4, 1.0),
    }
    for key, (value, words, low, high) in values.items():
        item[key] = float(value)
        item.id_properties_ui(key).update(description=words, min=low, max=high)
    item[FORMAT] = [float(side) for side in lens.format_mm]
    item.id_properties_ui(FORMAT).update(description="Width and height of the sensor, mm", min=0.1)
    item[BLADES] = int(lens.blades)
    item.id_properties_ui(BLADES).update(description="Blades of the iris; 0 is round", min=0, max=16)
    item[RESOLUTION] = [int(side) for side in lens.resolution]
    item[KIND] = lens.kind


def _write_now(item: Any, lens: Lens) -> None:
    """Set what the drivers will say, so that it is right before the first evaluation too."""
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
    item[MAGNIFICATION], item[EFFECTIVE] = o.magnification, o.effective_fnumber
    item[NEAR], item[FAR] = near, min(far, NEVER)
    stretch = 1.0 + o.magnification / o.pupil_ratio
    item[FRAME], item[STRETCH], item[GROW] = used[0], stretch, written.lens / o.focal_mm


_SOURCES = {
    "f": FOCAL, "N": FNUMBER, "s": FOCUS, "p": PUPIL, "c": COC, "n": BLADES, "m": MAGNIFICATION, "W": FRAME, "k": STRETCH,
    "g": GROW, "w": f"{FORMAT}:0", "h": f"{FORMAT}:1", "x": "render.resolution_x", "y": "render.resolution_y",
}  # fmt: skip
"""One-letter names in the expressions, and the property of the camera object (or of the scene) that each stands for."""

_READ_OUTS = {
    FRAME: "min(max(w,h),min(w,h)*x/y) if x >= y else min(min(w,h),max(w,h)*x/y)",
    MAGNIFICATION: "f/max(s-f/p,0.001)",
    STRETCH: "1+m/p",
    GROW: "max(1,k/min(W,W*y/x))",
    EFFECTIVE: "N*k",
    NEAR: "s*f*m/(f*m+c*N)",
    FAR: f"s*f*m/(f*m-c*N) if f*m > c*N*1.000001 else {NEVER:.0f}",
}
_LENS = {
    "lens": "f*g",
    "sensor_width": "W*g/k",
    "sensor_height": "W*y/x*g/k",
    "dof.aperture_fstop": "N*g*(sqrt(n/(2*pi)*sin(2*pi/n)) if n > 2 else 1)",
    "dof.aperture_blades": "n",
    "dof.focus_distance": "s/1000",
    "clip_start": "max(0.00001,s/100000)",
}


def _drive(item: Any) -> None:
    for key, expression in _READ_OUTS.items():
        _driver(item, f'["{key}"]', expression, item)
    for path, expression in _LENS.items():
        _driver(item.data, path, expression, item)


def _driver(block: Any, path: str, expression: str, item: Any) -> None:
    driver = block.driver_add(path).driver
    driver.type = "SCRIPTED"
    letters = {part for part in re.findall(r"[A-Za-z_]+", expression) if part in _SOURCES}
    for letter in sorted(letters):
        variable = driver.variables.new()
        variable.name = letter
        source = _SOURCES[letter]
        if source.startswith("render."):
            variable.type = "CONTEXT_PROP"
            variable.targets[0].context_property = "ACTIVE_SCENE"
            variable.targets[0].data_path = source
            continue
        name, _, index = source.partition(":")
        variable.targets[0].id = item
        variable.targets[0].data_path = f'["{name}"]' + (f"[{index}]" if index else "")
    driver.expression = expression
