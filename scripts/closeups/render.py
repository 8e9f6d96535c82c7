"""The light that reaches a macro lens from a fine shape, by Cycles a lamp at a time, and the true normals behind each pixel."""

from __future__ import annotations

import os
import tempfile
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from blender_addon.core.closeups.camera import PhotoCamera
from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.scene import compat, meshes
from scripts.truth.pieces.shape import Shape

Floats = Any
SENSOR_MM = 36.0
LAMP_RADIUS_MM = 12.0


@dataclass(frozen=True)
class Lens:
    """aperture_mm: diameter of the entrance pupil, 0 for a pinhole. focus_mm: from there to the plane in focus."""

    aperture_mm: float
    focus_mm: float


class Studio:
    """A fine shape before a camera. gloss: Principled's specular level, 0 for a matt piece."""

    def __init__(self, shape: Shape, *, gloss: float = 0.0):
        bpy.ops.wm.read_factory_settings(use_empty=True)
        self.scene = bpy.context.scene
        scene = self.scene
        scene.render.engine = "CYCLES"
        if os.environ.get("OMP_NUM_THREADS") == "1":  # one of many processes side by side
            scene.render.threads_mode, scene.render.threads = "FIXED", 1
        scene.cycles.use_denoising = False
        scene.cycles.use_adaptive_sampling = False
        scene.cycles.max_bounces = scene.cycles.diffuse_bounces = 2
        scene.cycles.seed = 1
        scene.render.use_persistent_data = True  # the piece is prepared once, not for every lamp
        scene.cycles.pixel_filter_type = "BLACKMAN_HARRIS"
        scene.view_settings.view_transform = "Raw"
        mesh = shape.mesh()
        scaled = TriangleMesh(np.asarray(mesh.vertices) * 0.001, mesh.faces, colours=mesh.colours)
        self.item = meshes.make_object("piece", scaled, materials=[_matt(gloss)])
        scene.collection.objects.link(self.item)
        self.shown, self.normal_material = self.item.data.materials[0], _normals()
        scene.world = bpy.data.worlds.new("room")
        tree = compat.node_tree_of(scene.world)
        self.room = tree.nodes.get("Background") or tree.nodes.new("ShaderNodeBackground")
        self.room.inputs["Strength"].default_value = 0.0
        light = bpy.data.lights.new("lamp", "POINT")
        light.shadow_soft_size = 0.001 * LAMP_RADIUS_MM
        self.lamp = bpy.data.objects.new("lamp", light)
        scene.collection.objects.link(self.lamp)
        lens = bpy.data.cameras.new("camera")
        self.camera = bpy.data.objects.new("camera", lens)
        scene.collection.objects.link(self.camera)
        scene.camera = self.camera

    def look(self, camera: PhotoCamera, lens: Lens) -> None:
        """Set the camera; its radial term is not rendered."""
        width, height = camera.size
        self.scene.render.resolution_x, self.scene.render.resolution_y = width, height
        data = self.camera.data
        data.sensor_fit, data.sensor_width = "HORIZONTAL", SENSOR_MM
        data.lens = camera.distance / width * SENSOR_MM
        data.clip_start, data.clip_end = 0.001, 10.0
        data.dof.use_dof = lens.aperture_mm > 0
        data.dof.focus_distance, data.dof.aperture_fstop = 0.001 * lens.focus_mm, data.lens / max(lens.aperture_mm, 1e-3)
        matrix = np.eye(4)
        matrix[:3, :3] = camera.rotation.T * (1, -1, -1)  # Blender's camera looks along its -Z, its Y up
        matrix[:3, 3] = 0.001 * camera.place
        self.camera.matrix_world = matrix.T.tolist()

    def lit_by(self, lamp: Floats, *, samples: int) -> Floats:
        """(h, w, 3) linear light of a lamp at a place in mm, row 0 at the top, 1 where white faces it at 100 mm."""
        self.lamp.hide_render = False
        self.lamp.location = (0.001 * np.asarray(lamp)).tolist()
        self.lamp.data.energy = 4.0 * np.pi**2 * 0.1**2  # a point of W watts gives W / (4 pi^2 d^2) off a white surface
        self.room.inputs["Strength"].default_value = 0.0
        return self._rendered(samples)

    def lit_by_room(self, *, samples: int) -> Floats:
        """The same of an even room of radiance 1."""
        self.lamp.hide_render = True
        self.room.inputs["Color"].default_value = (1.0, 1.0, 1.0, 1.0)
        self.room.inputs["Strength"].default_value = 1.0
        return self._rendered(samples)

    def normals(self, *, samples: int = 16) -> Floats:
        """(h, w, 3) true unit normals behind the pixels of the sharp picture, 0 where no surface is."""
        self.item.data.materials[0] = self.normal_material
        blurred, self.camera.data.dof.use_dof = self.camera.data.dof.use_dof, False
        self.lamp.hide_render = True
        self.room.inputs["Strength"].default_value = 0.0
        coded = self._rendered(samples)
        self.camera.data.dof.use_dof = blurred
        self.item.data.materials[0] = self.shown
        hit = coded.sum(axis=2) > 0.05
        ways = 2.0 * coded - 1.0
        return np.where(hit[..., None], ways / np.maximum(np.linalg.norm(ways, axis=2, keepdims=True), 1e-6), 0)

    def _rendered(self, samples: int) -> Floats:
        scene = self.scene
        scene.cycles.samples = samples
        scene.render.image_settings.file_format, scene.render.image_settings.color_depth = "OPEN_EXR", "32"
        with tempfile.TemporaryDirectory() as folder:
            path = Path(folder) / "seen.exr"
            scene.render.filepath = str(path)
            bpy.ops.render.render(write_still=True)
            image = bpy.data.images.load(str(path))
            image.colorspace_settings.name = "Non-Color"
            pixels = np.zeros(image.size[0] * image.size[1] * 4, np.float32)
            image.pixels.foreach_get(pixels)
            seen = pixels.reshape(image.size[1], image.size[0], 4)[::-1, :, :3].copy()
            bpy.data.images.remove(image)
        return seen


def _matt(gloss: float) -> Any:
    shade = bpy.data.materials.new("matt")
    tree = compat.node_tree_of(shade)
    tree.nodes.clear()
    colour, body, out = (
        tree.nodes.new(kind) for kind in ("ShaderNodeAttribute", "ShaderNodeBsdfPrincipled", "ShaderNodeOutputMaterial")
    )
    colour.attribute_name = "albedo"
    body.inputs["Roughness"].default_value = 0.45
    body.inputs["Specular IOR Level"].default_value = gloss
    tree.links.new(colour.outputs["Color"], body.inputs["Base Color"])
    tree.links.new(body.outputs["BSDF"], out.inputs["Surface"])
    return shade


def _normals() -> Any:
    """A material that shines with its own smooth normal, -1 to 1 as 0 to 1."""
    shade = bpy.data.materials.new("normals")
    tree = compat.node_tree_of(shade)
    tree.nodes.clear()
    where, half, glow, out = (
        tree.nodes.new(kind)
        for kind in ("ShaderNodeNewGeometry", "ShaderNodeVectorMath", "ShaderNodeEmission", "ShaderNodeOutputMaterial")
    )
    half.operation = "MULTIPLY_ADD"
    half.inputs[1].default_value = half.inputs[2].default_value = (0.5, 0.5, 0.5)
    tree.links.new(where.outputs["Normal"], half.inputs[0])
    tree.links.new(half.outputs[0], glow.inputs["Color"])
    tree.links.new(glow.outputs["Emission"], out.inputs["Surface"])
    return shade
