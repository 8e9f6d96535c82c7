"""Renders photographs of the demo's owl as for a scan: it turns before a cloth, or the camera goes round it.

Run in a process of its own: `python -m scripts.bench.photo_set.scenes FOLDER turntable 24`. The pictures are kept as PNG; what
a camera does to them is done by `faults.py`.
"""

from __future__ import annotations

import math
import sys
from pathlib import Path
from typing import Any

import bpy
import mathutils
import numpy as np

from scripts.truth.demo import HOME, POSES

WAYS = ("turntable", "walk")
SIZE = (800, 600)
DISTANCE, HEIGHT = 0.47, 0.16
"""Metres from the piece's axis, and above the table."""


def render(folder: Path, way: str, count: int) -> None:
    """Render a ring of `count` photographs to `folder`, those that are there already excepted."""
    wanted = [folder / f"{way}_{number + 1:03d}.png" for number in range(count)]
    if all(path.exists() for path in wanted):
        return
    folder.mkdir(parents=True, exist_ok=True)
    bpy.ops.wm.read_homefile(use_factory_startup=True, use_empty=True)
    scene = bpy.context.scene
    piece = _piece(scene)
    _table(scene, busy=way == "walk")
    _lamps(scene)
    camera = _camera(scene)
    _settings(scene)
    for number, path in enumerate(wanted):
        if path.exists():
            continue
        angle = 2 * math.pi * number / count
        if way == "turntable":
            piece.rotation_euler = (0, 0, angle)
            _look(camera, 0.0)
        else:
            _look(camera, angle)
        scene.render.filepath = str(path)
        bpy.ops.render.render(write_still=True)


def _piece(scene: Any) -> Any:
    bpy.ops.wm.obj_import(filepath=str(HOME / "owl_dusted.obj"), forward_axis="Y", up_axis="Z")
    item = bpy.context.selected_objects[0]
    _whole_alone(item)
    back = mathutils.Matrix(np.linalg.inv(POSES["owl_dusted"]).tolist())
    item.data.transform(mathutils.Matrix.Scale(0.001, 4) @ back)
    item.matrix_world = mathutils.Matrix.Identity(4)
    return item


def _whole_alone(item: Any) -> None:
    """Drop what floats beside the piece in the scan: a photograph shows none of it."""
    import bmesh

    mesh = bmesh.new()
    mesh.from_mesh(item.data)
    bmesh.ops.remove_doubles(mesh, verts=mesh.verts[:], dist=1e-7)
    left, largest = set(mesh.verts), []
    while left:
        part, front = [], [left.pop()]
        while front:
            vertex = front.pop()
            part.append(vertex)
            for edge in vertex.link_edges:
                other = edge.other_vert(vertex)
                if other in left:
                    left.remove(other)
                    front.append(other)
        largest = max(largest, part, key=len)
    stays = set(largest)
    bmesh.ops.delete(mesh, geom=[vertex for vertex in mesh.verts if vertex not in stays], context="VERTS")
    mesh.to_mesh(item.data)
    mesh.free()


def _table(scene: Any, *, busy: bool) -> None:
    material = bpy.data.materials.new("table")
    material.use_nodes = True
    nodes, links = material.node_tree.nodes, material.node_tree.links
    base = nodes["Principled BSDF"].inputs["Base Color"]
    nodes["Principled BSDF"].inputs["Roughness"].default_value = 0.8
    if busy:  # a patterned cloth, so that also the table gives features
        pattern = nodes.new("ShaderNodeTexVoronoi")
        pattern.inputs["Scale"].default_value = 60.0
        place = nodes.new("ShaderNodeTexCoord")
        links.new(place.outputs["Object"], pattern.inputs["Vector"])
        ramp = nodes.new("ShaderNodeValToRGB")
        ramp.color_ramp.elements[0].color = (0.05, 0.09, 0.16, 1)
        ramp.color_ramp.elements[1].color = (0.25, 0.12, 0.06, 1)
        links.new(pattern.outputs["Distance"], ramp.inputs["Fac"])
        links.new(ramp.outputs["Color"], base)
    else:
        base.default_value = (0.06, 0.10, 0.14, 1)
    bpy.ops.mesh.primitive_plane_add(size=6.0)
    bpy.context.object.data.materials.append(material)
    world = bpy.data.worlds.new("room")
    scene.world = world
    world.use_nodes = True
    world.node_tree.nodes["Background"].inputs[0].default_value = (0.5, 0.55, 0.6, 1)
    world.node_tree.nodes["Background"].inputs[1].default_value = 0.35


def _lamps(scene: Any) -> None:
    for name, place, power, size in (("key", (-0.5, -0.4, 0.7), 26.0, 0.3), ("fill", (0.6, -0.2, 0.4), 7.0, 0.3)):
        lamp = bpy.data.lights.new(name, "AREA")
        lamp.energy, lamp.size = power, size
        item = bpy.data.objects.new(name, lamp)
        item.location = place
        item.rotation_euler = (mathutils.Vector((0, 0, 0.05)) - mathutils.Vector(place)).to_track_quat("-Z", "Y").to_euler()
        scene.collection.objects.link(item)


def _camera(scene: Any) -> Any:
    camera = bpy.data.objects.new("camera", bpy.data.cameras.new("camera"))
    camera.data.sensor_width, camera.data.lens = 36.0, 105.0
    camera.data.clip_start = 0.01
    scene.collection.objects.link(camera)
    scene.camera = camera
    return camera


def _look(camera: Any, angle: float) -> None:
    place = mathutils.Vector((DISTANCE * math.sin(angle), -DISTANCE * math.cos(angle), HEIGHT))
    camera.location = place
    camera.rotation_euler = (mathutils.Vector((0, 0, 0.045)) - place).to_track_quat("-Z", "Y").to_euler()


def _settings(scene: Any) -> None:
    scene.render.engine = "CYCLES"
    scene.cycles.device, scene.cycles.samples, scene.cycles.use_denoising = "CPU", 8, True
    scene.cycles.max_bounces, scene.cycles.seed = 3, 1
    scene.render.resolution_x, scene.render.resolution_y = SIZE
    scene.render.image_settings.file_format, scene.render.image_settings.color_mode = "PNG", "RGB"
    scene.view_settings.view_transform, scene.view_settings.exposure = "Standard", -1.1
    scene.render.threads_mode, scene.render.threads = "FIXED", 2


if __name__ == "__main__":
    render(Path(sys.argv[1]), sys.argv[2], int(sys.argv[3]))
    import os

    sys.stdout.flush()
    os._exit(0)  # past the wheel's own tearing down
