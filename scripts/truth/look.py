"""A quick picture of a mesh in grey clay under raking light, to judge a form by eye: `look(meshes, path)`."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import bpy
import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.scene import compat, meshes


def look(
    subject: list[TriangleMesh],
    path: Path,
    *,
    eye: Any = (-60.0, -190.0, 95.0),
    aim: Any = (0, 0, 40),
    width: float = 105.0,
    size: int = 480,
    samples: int = 24,
    textures: list[Path | None] | None = None,
    flat: bool = False,
    lamp: Any = (-160.0, -40.0, 110.0),
) -> None:
    """Write a PNG. Meshes, eye, aim and lamp in mm; width: what the frame spans. flat: textures shown as they are."""
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    for place, part in enumerate(subject):
        shade = bpy.data.materials.new("clay")
        tree = compat.node_tree_of(shade)
        body = tree.nodes["Principled BSDF"]
        body.inputs["Base Color"].default_value = (0.45, 0.42, 0.39, 1.0)
        body.inputs["Roughness"].default_value = 0.9
        if textures and textures[place]:
            node = tree.nodes.new("ShaderNodeTexImage")
            node.image = bpy.data.images.load(str(textures[place]))
            tree.links.new(node.outputs["Color"], body.inputs["Emission Color" if flat else "Base Color"])
            if flat:
                body.inputs["Emission Strength"].default_value = 1.0
                body.inputs["Base Color"].default_value = (0.0, 0.0, 0.0, 1.0)
                body.inputs["Specular IOR Level"].default_value = 0.0
        elif part.colours:
            node = tree.nodes.new("ShaderNodeAttribute")
            node.attribute_name = next(iter(part.colours))
            tree.links.new(node.outputs["Color"], body.inputs["Base Color"])
        scene.collection.objects.link(meshes.make_object("part", part, materials=[shade]))
    _light(scene, lamp, aim)
    camera = bpy.data.cameras.new("eye")
    camera.type, camera.ortho_scale, camera.clip_start, camera.clip_end = "ORTHO", width, 0.1, 2000.0
    item = bpy.data.objects.new("eye", camera)
    scene.collection.objects.link(item)
    scene.camera = item
    _aim(item, eye, aim)
    scene.view_settings.view_transform = "Standard"
    scene.render.engine = "CYCLES"
    scene.cycles.samples, scene.cycles.use_denoising = samples, True
    scene.render.resolution_x = scene.render.resolution_y = size
    scene.render.filepath = str(path)
    bpy.ops.render.render(write_still=True)


def _light(scene: Any, lamp: Any, aim: Any) -> None:
    for place, size, watt in ((lamp, 50.0, 1.1e6), ((220.0, -160.0, 200.0), 250.0, 2.0e5)):
        light = bpy.data.lights.new("lamp", "AREA")
        light.size, light.energy = size, watt
        item = bpy.data.objects.new("lamp", light)
        scene.collection.objects.link(item)
        _aim(item, place, aim)
    world = bpy.data.worlds.new("grey")
    scene.world = world
    compat.node_tree_of(world).nodes["Background"].inputs["Color"].default_value = (0.05, 0.05, 0.06, 1.0)


def _aim(item: Any, place: Any, aim: Any) -> None:
    from mathutils import Vector

    item.location = place
    item.rotation_euler = (
        (Vector(np.asarray(aim, float)) - Vector(np.asarray(place, float))).to_track_quat("-Z", "Y").to_euler()
    )
