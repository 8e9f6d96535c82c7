"""The light that Cycles finds on a truth, baked onto the texels of its scan."""

from __future__ import annotations

from typing import Any

import bpy
import numpy as np

from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.scene import compat, meshes
from blender_addon.scene.delivery.device import find_device

from ..pieces.shape import Shape
from .lights import Light

Floats = Any


def light_on(
    truths: list[Shape], scan: TriangleMesh, room: Light, *, size: int, samples: int, table: float | None = 0.40
) -> Floats:
    """(size, size, 3) linear light (irradiance over pi, with bounces) on the truths behind the scan's texels, row 0 at v = 0.

    All in mm. table: albedo of a table at z = 0, or None. samples: enough that their noise stays below a camera's; they are
    taken on a graphics card where there is one.
    """
    bpy.ops.wm.read_factory_settings(use_empty=True)
    scene = bpy.context.scene
    scene.render.engine = "CYCLES"
    scene.cycles.samples, scene.cycles.use_denoising = samples, False
    scene.cycles.diffuse_bounces = scene.cycles.max_bounces = 4
    scene.cycles.seed, scene.cycles.device = 1, find_device("auto").setting
    sources = [meshes.make_object(truth.name, truth.mesh(), materials=[_matt(truth.name)]) for truth in truths]
    target = meshes.make_object("scan", scan, materials=[_target(size)])
    for item in (*sources, target):
        scene.collection.objects.link(item)
    if table is not None:
        scene.collection.objects.link(_table(table))
    surround(scene, room)
    for item in scene.objects:
        item.select_set(item in sources)
    target.select_set(True)
    bpy.context.view_layer.objects.active = target
    bake = scene.render.bake
    bake.use_selected_to_active, bake.cage_extrusion, bake.max_ray_distance = True, 1.2, 2.4
    bake.use_pass_direct = bake.use_pass_indirect = True
    bake.use_pass_color, bake.margin, bake.use_clear = False, 0, True
    bpy.ops.object.bake(type="DIFFUSE")
    image = bpy.data.images["light"]
    pixels = np.zeros(size * size * 4, np.float32)
    image.pixels.foreach_get(pixels)
    return pixels.reshape(size, size, 4)[..., :3].copy()


def _matt(name: str) -> Any:
    shade = bpy.data.materials.new(name)
    tree = compat.node_tree_of(shade)
    tree.nodes.clear()
    colour, matt, out = (
        tree.nodes.new(kind) for kind in ("ShaderNodeAttribute", "ShaderNodeBsdfDiffuse", "ShaderNodeOutputMaterial")
    )
    colour.attribute_name = "albedo"
    tree.links.new(colour.outputs["Color"], matt.inputs["Color"])
    tree.links.new(matt.outputs["BSDF"], out.inputs["Surface"])
    return shade


def _target(size: int) -> Any:
    shade = bpy.data.materials.new("target")
    tree = compat.node_tree_of(shade)
    node = tree.nodes.new("ShaderNodeTexImage")
    node.image = bpy.data.images.new("light", size, size, float_buffer=True, is_data=True)
    tree.nodes.active = node
    return shade


def _table(albedo: float) -> Any:
    corners = np.array([[-400, -400, 0], [400, -400, 0], [400, 400, 0], [-400, 400, 0]], float)
    shape = Shape("table", corners - [0, 0, 0.02], np.array([[0, 1, 2], [0, 2, 3]]), np.full((4, 3), albedo))
    return meshes.make_object("table", shape.mesh(), materials=[_matt("table")])


def surround(scene: Any, room: Light) -> None:
    """The room as an equirectangular picture round the scene."""
    wide, high = 512, 256
    azimuth = -2 * np.pi * ((np.arange(wide) + 0.5) / wide - 0.5)
    elevation = np.pi * ((np.arange(high) + 0.5) / high - 0.5)
    flat = np.cos(elevation)[:, None]
    ways = np.stack(
        [flat * np.cos(azimuth), flat * np.sin(azimuth), np.broadcast_to(np.sin(elevation)[:, None], (high, wide))], axis=-1
    )
    pixels = np.ones((high, wide, 4), np.float32)
    pixels[..., :3] = room.rooms[0](ways.reshape(-1, 3)).reshape(high, wide, 3)
    image = bpy.data.images.new("room", wide, high, float_buffer=True, is_data=True)
    image.pixels.foreach_set(pixels.ravel())
    image.update()
    world = bpy.data.worlds.new("room")
    scene.world = world
    tree = compat.node_tree_of(world)
    node = tree.nodes.new("ShaderNodeTexEnvironment")
    node.image = image
    tree.links.new(node.outputs["Color"], tree.nodes["Background"].inputs["Color"])
