"""How large is the blur disc that Cycles draws? Run by the lens bench in each Blender: reads set-ups, writes diameters in px.

A small glowing disc of known size stands off the plane of focus on the axis of a camera that the add-on made. For a uniform
disc the variance on each axis is D^2/16, so D = sqrt(16 (var - 1/12 - e^2/16)), with e the disc's own size and 1/12 for the
one-pixel box filter: no edge is thresholded.
"""

from __future__ import annotations

import json
import math
import sys
import tempfile
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from blender_addon.core.shots.formats import BY_KEY, frame_used
from blender_addon.core.shots.framing import CameraPose, look
from blender_addon.core.shots.optics import Optics, focus_for
from blender_addon.scene.compat import node_tree_of
from blender_addon.scene.shots.cameras import Lens, make_camera

SPOT_PX = 6.0


def main(setups_path: str, results_path: str, folder: str) -> None:
    """Measure each set-up of one JSON file; write the figures by their names to another. folder: for the pictures."""
    setups = json.loads(Path(setups_path).read_text(encoding="utf-8"))
    found = {setup["name"]: measure(setup, Path(folder)) for setup in setups}
    Path(results_path).write_text(json.dumps(found), encoding="utf-8")


def measure(setup: dict[str, Any], folder: Path) -> dict[str, float]:
    """The measured diameter (px), and the sensor and lens that Blender was given."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    width, height = setup["resolution"]
    size = BY_KEY[setup["format"]]
    lens = Optics(setup["focal_mm"], setup["fnumber"], 0.0, setup.get("pupil_ratio", 1.0))
    focus = focus_for(lens.focal_mm, setup["m"], pupil_ratio=lens.pupil_ratio)
    lens = Optics(lens.focal_mm, lens.fnumber, focus, lens.pupil_ratio)
    rotation = look(0.0, 0.0)
    pose = CameraPose(np.array([0.0, -focus, 0.0]), rotation, focus)
    own = Lens(lens, (size.width_mm, size.height_mm), (width, height), "hero", 0.03, setup.get("blades", 0))
    camera = make_camera("lens", pose, own)
    scene.collection.objects.link(camera)
    scene.camera = camera
    distance = setup["distance_mm"]
    used = frame_used(size.width_mm, size.height_mm, (width, height))[0]
    pixel = used / width * distance / (lens.magnification * focus)  # mm in the spot's plane a pixel
    _spot(scene, distance - focus, 0.5 * SPOT_PX * pixel)
    _settings(scene, width, height, int(setup["expected_px"]) + 40)
    sums = _render(scene, folder / f"{setup['name'].replace('/', '_')}.exr")
    camera.update_tag()
    bpy.context.view_layer.update()
    data = camera.data
    return {"px": sums, "lens": data.lens, "fstop": data.dof.aperture_fstop, "sensor": data.sensor_width}


def _spot(scene: Any, along_mm: float, radius_mm: float) -> None:
    corners = 64
    around = np.linspace(0.0, 2.0 * math.pi, corners, endpoint=False)
    points = [(radius_mm * math.cos(a) / 1000, along_mm / 1000, radius_mm * math.sin(a) / 1000) for a in around]
    mesh = bpy.data.meshes.new("spot")
    mesh.from_pydata(points, [], [tuple(range(corners))])
    material = bpy.data.materials.new("glow")
    tree = node_tree_of(material)
    tree.nodes.clear()
    glow, out = tree.nodes.new("ShaderNodeEmission"), tree.nodes.new("ShaderNodeOutputMaterial")
    glow.inputs["Strength"].default_value = 1000.0
    tree.links.new(glow.outputs[0], out.inputs["Surface"])
    mesh.materials.append(material)
    scene.collection.objects.link(bpy.data.objects.new("spot", mesh))


def _settings(scene: Any, width: int, height: int, crop: int) -> None:
    render, own = scene.render, scene.cycles
    render.engine = "CYCLES"
    own.device, own.samples, own.use_adaptive_sampling, own.use_denoising = "CPU", 512, False, False
    own.pixel_filter_type, own.max_bounces = "BOX", 0
    own.seed = 3
    render.resolution_x, render.resolution_y, render.resolution_percentage = width, height, 100
    render.use_border = render.use_crop_to_border = True
    share = (min(0.5, 0.5 * crop / width), min(0.5, 0.5 * crop / height))
    render.border_min_x, render.border_max_x = 0.5 - share[0], 0.5 + share[0]
    render.border_min_y, render.border_max_y = 0.5 - share[1], 0.5 + share[1]
    render.image_settings.file_format = "OPEN_EXR"
    render.image_settings.color_mode = "RGB"
    render.image_settings.color_depth = "32"


def _render(scene: Any, path: Path) -> float:
    scene.render.filepath = str(path)
    bpy.ops.render.render(write_still=True)
    image = bpy.data.images.load(str(path))
    width, height = image.size
    pixels = np.zeros(width * height * 4, np.float32)
    image.pixels.foreach_get(pixels)
    light = pixels.reshape(height, width, 4)[..., 0].astype(float)
    total = light.sum()
    if total <= 0.0:
        return math.nan
    variances = []
    for axis, count in ((0, width), (1, height)):
        profile, place = light.sum(axis=axis), np.arange(count)
        mean = (profile * place).sum() / total
        variances.append((profile * (place - mean) ** 2).sum() / total)
    return math.sqrt(16.0 * max(float(np.mean(variances)) - 1.0 / 12.0 - SPOT_PX**2 / 16.0, 0.0))


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as place:
        main(sys.argv[1], sys.argv[2], place)
