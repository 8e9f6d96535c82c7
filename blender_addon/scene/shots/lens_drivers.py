"""Keeps a camera a true macro lens without the add-on, by drivers over the camera object's own properties.

The expressions are simple ones that Blender evaluates without Python, so they work in any .blend, also with scripts disabled.
The settings are on the camera object and the driven values on its data, since Blender treats a driver that reads its own
data-block as a dependency cycle.
"""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import bpy

FOCAL, FNUMBER, FOCUS, FORMAT = "bozzetto_focal_mm", "bozzetto_fnumber", "bozzetto_focus_mm", "bozzetto_format"
PUPIL, COC, BLADES = "bozzetto_pupil_ratio", "bozzetto_coc_mm", "bozzetto_blades"
KIND, RESOLUTION = "bozzetto_kind", "bozzetto_resolution"
DISTANCE, FRAME, FIELD = "bozzetto_distance_mm", "bozzetto_frame_width_mm", "bozzetto_field_width_mm"
MAGNIFICATION, EFFECTIVE = "bozzetto_magnification", "bozzetto_effective_fnumber"
NEAR, FAR = "bozzetto_near_mm", "bozzetto_far_mm"
STRETCH, GROW = "bozzetto_stretch", "bozzetto_grow"
DEPTH, SLICES = "bozzetto_depth", "bozzetto_bracket_mm"
NEVER = 1e9
"""Represents infinity in the far limit, in mm: a custom property and JSON both need a finite number."""

_NO_OBJECT = 1e30
"""The fallback value that the driver reads for the focus object's position where the camera has none."""

_SOURCES = {
    "f": FOCAL, "N": FNUMBER, "F": FOCUS, "s": DISTANCE, "p": PUPIL, "c": COC, "n": BLADES, "m": MAGNIFICATION, "W": FRAME,
    "k": STRETCH, "g": GROW,
}  # fmt: skip
_PATHS = {letter: f'["{name}"]' for letter, name in _SOURCES.items()}
_PATHS |= {"w": f'["{FORMAT}"][0]', "h": f'["{FORMAT}"][1]'}
for _place, _axis in enumerate("xyz"):
    _PATHS[f"o{_axis}"] = f"data.dof.focus_object.matrix_world[3][{_place}]"
    _PATHS[f"c{_axis}"] = f"matrix_world[3][{_place}]"
    _PATHS[f"b{_axis}"] = f"matrix_world[2][{_place}]"
PICTURE_SIZE = ("render.resolution_x", "render.resolution_y")
"""The scene's settings for the size of the picture."""
_SCENE_PATHS = dict(zip("xy", PICTURE_SIZE, strict=True))

READ_OUTS = {
    DISTANCE: f"F if ox > {_NO_OBJECT / 10:.0e} else 1000*((cx-ox)*bx+(cy-oy)*by+(cz-oz)*bz)",
    FRAME: "min(max(w,h),min(w,h)*x/y) if x >= y else min(min(w,h),max(w,h)*x/y)",
    MAGNIFICATION: "f/max(s-f/p,0.001)",
    STRETCH: "1+m/p",
    GROW: "max(1,k/min(W,W*y/x))",
    EFFECTIVE: "N*k",
    FIELD: "W/m",
    NEAR: "s*f*m/(f*m+c*N)",
    FAR: f"s*f*m/(f*m-c*N) if f*m > c*N*1.000001 else {NEVER:.0f}",
}
"""Driven properties of the camera object: focus distance, used frame width, magnification, limits of sharpness (mm)."""

LENS = {
    "lens": "f*g",
    "sensor_width": "W*g/k",
    "sensor_height": "W*y/x*g/k",
    "dof.aperture_fstop": "N*g*(sqrt(n/(2*pi)*sin(2*pi/n)) if n > 2 else 1)",
    "dof.aperture_blades": "n",
    "dof.focus_distance": "F/1000",
    "clip_start": "max(0.00001,s/100000)",
}
"""Driven values of Blender's camera; derived in `core.shots.optics.in_blender`."""


def drive(item: bpy.types.Object) -> None:
    """Add the drivers to a camera object and its data. The properties must exist."""
    for key, expression in READ_OUTS.items():
        _driver(item, f'["{key}"]', expression, item)
    for path, expression in LENS.items():
        _driver(item.data, path, expression, item)


def _driver(block: bpy.types.ID, path: str, expression: str, item: bpy.types.Object) -> None:
    driver = block.driver_add(path).driver
    driver.type = "SCRIPTED"
    for name in sorted(set(re.findall(r"\b[A-Za-z]+\b", expression))):
        if name in _SCENE_PATHS:
            variable = driver.variables.new()
            variable.type = "CONTEXT_PROP"
            variable.targets[0].context_property = "ACTIVE_SCENE"
            variable.targets[0].data_path = _SCENE_PATHS[name]
        elif name in _PATHS:
            variable = driver.variables.new()
            variable.targets[0].id = item
            variable.targets[0].data_path = _PATHS[name]
            if name.startswith("o"):
                variable.targets[0].use_fallback_value = True
                variable.targets[0].fallback_value = _NO_OBJECT
        else:
            continue
        variable.name = name
    driver.expression = expression


def frame_as(scene: bpy.types.Scene, camera: bpy.types.Object) -> None:
    """Give the scene's picture the shape of a shot's. The size that the job set stays where it has that shape already, since
    another one would count as set by the user."""
    if not framed_as(scene, camera):
        scene.render.resolution_x, scene.render.resolution_y = camera[RESOLUTION]


def framed_as(scene: bpy.types.Scene, camera: bpy.types.Object) -> bool:
    """Whether the scene's picture has the shape of a shot's, but for rounding to pixels."""
    width, height = camera[RESOLUTION]
    return abs(scene.render.resolution_x * height - scene.render.resolution_y * width) <= max(width, height)
