"""How many bits do the 16-bit copies really hold? The distinct levels of a smooth ramp in the render itself, without dither.

`bits_used(folder)` renders an even ramp of light once, by the way that the render step takes, makes copies as the export step
does, and counts. log2 of the levels of green in a copy; the still of 8 bits, which is made from the same render, is the
yardstick.
"""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

import numpy as np

SIZE = (480, 320)


def bits_used(folder: Path) -> dict[str, float]:
    """Bits by kind of copy ('tiff16', 'png16', 'exr'), and of the still itself ('still'). Runs in a Blender of this process."""
    import bpy

    from blender_addon.scene.delivery.copies.client_pictures import Wanted, write_copy
    from blender_addon.scene.delivery.originals import read_picture
    from blender_addon.scene.delivery.output import Quality, cycles, render_picture
    from blender_addon.scene.images import read_pixels

    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    camera = _ramp(scene)
    still = folder / "ramp.png"
    with cycles(scene, Quality(1, 0.0, denoise=False), device="cpu", seed=1):
        render_picture(scene, still, camera=camera, size=SIZE, original=True)
    found = {"still": _bits(read_picture(still)[..., 1])}
    for kind in ("tiff16", "png16"):
        found[kind] = _bits(read_picture(write_copy(still, folder / kind, Wanted(kind), field_width_mm=1.0).path)[..., 1])
    image = bpy.data.images.load(str(write_copy(still, folder / "linear", Wanted("exr"), field_width_mm=1.0).path))
    found["exr"] = _bits(read_pixels(image)[..., 1])
    bpy.data.images.remove(image)
    return found


def _bits(values: Any) -> float:
    return math.log2(len(np.unique(values)))


def _ramp(scene: Any) -> Any:
    """A plane that glows from black to white across the picture, a little more from row to row, seen square on."""
    import bpy

    scene.view_settings.view_transform, scene.view_settings.look = "Standard", "None"
    scene.render.filter_size = 0.01
    camera = bpy.data.objects.new("camera", bpy.data.cameras.new("camera"))
    camera.data.type, camera.data.ortho_scale = "ORTHO", 2.0
    camera.location = (0, 0, 2)
    scene.collection.objects.link(camera)
    bpy.ops.mesh.primitive_plane_add(size=4.0)
    material = bpy.data.materials.new("ramp")
    material.use_nodes = True
    tree = material.node_tree
    tree.nodes.clear()
    place, parts = tree.nodes.new("ShaderNodeTexCoord"), tree.nodes.new("ShaderNodeSeparateXYZ")
    add, glow, out = (tree.nodes.new(kind) for kind in ("ShaderNodeMath", "ShaderNodeEmission", "ShaderNodeOutputMaterial"))
    add.operation = "MULTIPLY_ADD"
    tree.links.new(place.outputs["Window"], parts.inputs[0])
    tree.links.new(parts.outputs["Y"], add.inputs[0])
    add.inputs[1].default_value = 1.0 / SIZE[0]
    tree.links.new(parts.outputs["X"], add.inputs[2])
    tree.links.new(add.outputs[0], glow.inputs["Strength"])
    tree.links.new(glow.outputs[0], out.inputs["Surface"])
    bpy.context.object.data.materials.append(material)
    return camera
