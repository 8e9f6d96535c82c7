"""The product's own scene of a scan, in which the truth can take the piece's place: same light, camera, material and seed."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from blender_addon.core.arrays import Floats
from blender_addon.core.mesh.triangles import TriangleMesh
from blender_addon.core.srgb import luminance
from blender_addon.core.surface.cavity import cavity
from blender_addon.job import sheet as sheets
from blender_addon.job.runner import finish, run_job
from blender_addon.scene import compat, meshes
from blender_addon.scene.delivery.output import Quality, cycles
from blender_addon.scene.delivery.shot_state import dressed_for
from blender_addon.scene.images import read_pixels
from blender_addon.scene.nodes.builder import Tree
from blender_addon.scene.nodes.materials import Maps, make_material
from blender_addon.scene.nodes.relief import CAVITY, relief_group
from blender_addon.scene.stage import Stage
from blender_addon.scene.surface.base_picture import base_picture
from blender_addon.scene.surface.own_texture import maps_of, uv_name
from blender_addon.scene.surface.rendered_form import rendered_form
from blender_addon.scene.surface.surfaces import surface_of
from blender_addon.scene.temporary import changed
from blender_addon.steps import catalogue

from .measures import Pair
from .pieces import Piece

Window = tuple[float, float, float, float]
"""Left, lower, right and upper edge of a part of a picture, 0 to 1."""
PLAIN_SET = ("tabletop.props=0", "debris.on=false")
"""Nothing lies round the piece: it costs time and says nothing about it."""
GREY = 0.3
"""Albedo of the plain matt grey that a material is compared with."""


@dataclass(frozen=True)
class View:
    """A part of a shot. size: of the whole picture, px. pixel_mm: edge of a pixel where the lens is focused."""

    shot: str
    size: tuple[int, int]
    window: Window
    pixel_mm: float


class Studio:
    """A piece taken from its scan to its light; `wear` and `state` decide what is seen, `pair` photographs it."""

    def __init__(self, piece: Piece, out: Path, settings: Sequence[str] = (), device: str = "auto"):
        bpy.ops.wm.read_factory_settings(use_empty=True)
        steps = catalogue()
        sheet = sheets.read(piece.sheet, steps)
        for assignment in (*PLAIN_SET, *settings):
            sheets.override(sheet, assignment)
        self.piece, self.device = piece, device
        self.stage = Stage(bpy.context.scene, sheet, out=out)
        chosen = [step for step in steps if step.folder != "delivery"]
        self.figures = finish(run_job(chosen, steps, sheet, self.stage)).figures()
        self._truth = self._link_truth().name
        self.state("ours")

    # --- what is seen ----------------------------------------------------------------------------------------------------

    def _link_truth(self) -> Any:
        """The fine mesh, moved by the product's own matrix."""
        upright = self.stage.require("upright")
        matrix = np.array(list(upright["bozzetto_matrix"])).reshape(4, 4) @ self.piece.to_scan
        mesh = self.piece.truth
        points = mesh.vertices @ matrix[:3, :3].T + matrix[:3, 3]
        item = meshes.make_object("Truth", TriangleMesh(points, mesh.faces, mesh.uv, colours=mesh.colours))
        layer = item.data.attributes.new(CAVITY, "FLOAT", "POINT")
        layer.data.foreach_set("value", cavity(1000.0 * points, mesh.faces).astype(np.float32))
        self.stage.scene.collection.objects.link(item)
        return item

    def shown(self, state: str) -> Any:
        """The object that is seen in a state."""
        return bpy.data.objects[self._truth] if state == "truth" else self.stage.require("piece")

    def state(self, name: str) -> None:
        """Show the truth, or the piece: 'truth', 'ours' or 'bare' (what is worn tells the last two apart)."""
        truth = name == "truth"
        bpy.data.objects[self._truth].hide_render = not truth
        self.stage.require("piece").hide_render = truth
        if self.piece.stands:
            for item in self.stage.find_all("stand").values():
                item.hide_render = truth

    def maps(self, state: str, *, raw: bool = False) -> Maps:
        """What a state brings to a material. raw: the scan's texture with its light, as a bare scan has it."""
        item = self.shown(state)
        if state == "truth":
            picture = self.piece.normal_map
            normal = bpy.data.images.load(str(picture), check_existing=True) if picture else None
            if normal is not None:
                normal.colorspace_settings.name = "Non-Color"
            return Maps(normal=normal, colour_attribute="albedo", uv=uv_name(item))
        found = maps_of(self.stage, item, "piece", None)
        if state == "bare":
            scanned = base_picture(item) if raw else None
            found = replace(found, strength=0.0, colour=scanned.image if scanned else found.colour)
        return found

    @contextlib.contextmanager
    def wear(self, state: str, kind: str, *, flat: bool = False, smooth: bool = False, **settings: Any) -> Iterator[None]:
        """A state in a material inside the block; 'grey' is plain matt grey.

        flat: in one colour, for its shading alone. smooth: in one colour and without a bump of its own, for what is left then
        of form, gloss and light.
        """
        item, maps = self.shown(state), self.maps(state, raw=kind == "own")
        if kind == "grey":
            material = matt_grey(maps)
        else:
            wanted = replace(self.stage.sheet["material"], piece=kind, **settings)
            material = make_material(f"{state} {kind}", self._surface(state, kind, wanted), maps)
            if flat or smooth:
                in_one_colour(material, smooth=smooth)
        if not item.material_slots:
            item.data.materials.append(None)
        kept = [slot.material for slot in item.material_slots]
        for slot in item.material_slots:
            slot.link, slot.material = "OBJECT", material
        self.state(state)
        try:
            yield
        finally:
            for slot, original in zip(self.shown(state).material_slots, kept, strict=True):
                slot.material = original
            bpy.data.materials.remove(material)
            self.state("ours")

    def _surface(self, state: str, kind: str, settings: Any) -> Any:
        surface = surface_of(kind, settings)
        if kind == "own" and state == "truth" and "albedo" not in self.piece.truth.colours:
            return replace(surface, values={**surface.values, "Colour": (0.78,) * 3})
        return surface

    # --- photographs -----------------------------------------------------------------------------------------------------

    def pixel_mm(self, shot: str, long_side: int) -> float:
        """Edge of a pixel in the plane of focus."""
        camera = self.stage.require("shot", shot)
        return float(camera["bozzetto_field_width_mm"]) / self.size(shot, long_side)[0]

    def size(self, shot: str, long_side: int) -> tuple[int, int]:
        """Pixels of a picture of that shot."""
        width, height = self.stage.require("shot", shot).get("bozzetto_resolution", (3, 2))
        return round(long_side * width / max(width, height)), round(long_side * height / max(width, height))

    def exposure(self, shot: str) -> float:
        """Stops at which a shot is exposed."""
        with dressed_for(self.stage, self.stage.require("shot", shot)):
            return float(self.stage.scene.view_settings.exposure)

    def pair(self, view: View, samples: int, *, seed: int = 1) -> Pair:
        """The view in linear light, (h, w, 3) twice: each half has half of the samples and a seed of its own."""
        quality = Quality(max(1, samples // 2), 0.0, denoise=False)
        return tuple(self._photo(view, quality, 2 * seed - 1 + half) for half in range(2))  # type: ignore[return-value]

    def _photo(self, view: View, quality: Quality, seed: int) -> Floats:
        scene, camera = self.stage.scene, self.stage.require("shot", view.shot)
        with cycles(scene, quality, device=self.device, seed=seed), dressed_for(self.stage, camera):
            with rendered_form([self.stage.require("piece")], camera, view.size):
                return rendered(scene, camera, view)[..., :3]

    def outline(self, state: str, view: View, *, with_stand: bool = False) -> Any:
        """(h, w) bool: where the piece is seen, every part of it sharp.

        with_stand: where the truth includes what the piece stands on, count the product's stand with its piece.
        """
        self.state(state)
        scene, camera, item = self.stage.scene, self.stage.require("shot", view.shot), self.shown(state)
        seen = [item, *(self.stage.find_all("stand").values() if with_stand and self.piece.stands else ())]
        quality = Quality(4, 0.0, denoise=False)
        with cycles(scene, quality, device=self.device, seed=1), dressed_for(self.stage, camera):
            others = [other for other in scene.objects if other not in seen and hasattr(other, "is_holdout")]
            changes = [(item, "is_holdout", True) for item in others]
            changes += [(camera.data.dof, "use_dof", False), (scene.render, "film_transparent", True)]
            changes += [(scene.cycles, "max_bounces", 0), (scene.render.image_settings, "color_mode", "RGBA")]
            with changed(changes), rendered_form([item], camera, view.size):
                found = rendered(scene, camera, view)[..., 3] > 0.5
        self.state("ours")
        return found

    def albedo(self, kind: str) -> tuple[Floats, Any]:
        """(n,) luminance of the piece's albedo in a material at its vertices, over that of the material's body alone, and the
        class (n,) of form that each belongs to.

        A class is how far the vertex lies in a recess (five steps) and how far it faces up (four): what dust, wash and wear
        follow. Baked, so that it does not depend on the light. The body alone is the same material without recesses and
        relief: its grain may follow the form, as the end grain of wood does, which is dark wherever it is cut across.
        """
        item = self.stage.require("piece")
        mesh = item.data
        hollow, normal = np.zeros(len(mesh.vertices), np.float32), np.zeros(3 * len(mesh.vertices), np.float32)
        mesh.attributes[CAVITY].data.foreach_get("value", hollow)
        with self.wear("ours", kind):
            values = luminance(baked_colour(self.stage.scene, item))
        mesh.attributes[CAVITY].data.foreach_set("value", np.zeros_like(hollow))
        try:
            with self.wear("bare", kind):
                body = luminance(baked_colour(self.stage.scene, item))
        finally:
            mesh.attributes[CAVITY].data.foreach_set("value", hollow)
        mesh.vertex_normals.foreach_get("vector", normal)
        steep = np.clip(np.floor(2.0 * (normal.reshape(-1, 3)[:, 2] + 1.0)), 0, 3).astype(int)
        deep = np.clip(np.floor(2.5 * (hollow + 1.0)), 0, 4).astype(int)
        return values / np.maximum(body, 1e-4), 4 * deep + steep

    def save(self, pictures: Sequence[Floats], view: View, path: Path) -> None:
        """Pictures of a view side by side as the job would show them: its exposure and view transform."""
        scene, camera = self.stage.scene, self.stage.require("shot", view.shot)
        whole = np.concatenate(pictures, axis=1)
        full = np.ones((*whole.shape[:2], 4), np.float32)
        full[..., :3] = whole
        image = bpy.data.images.new("beside", full.shape[1], full.shape[0], float_buffer=True)
        image.pixels.foreach_set(full.ravel())
        path.parent.mkdir(parents=True, exist_ok=True)
        with cycles(scene, Quality(1, 0.0), device="cpu", seed=1), dressed_for(self.stage, camera):
            image.save_render(str(path), scene=scene)
        bpy.data.images.remove(image)


def rendered(scene: Any, camera: Any, view: View) -> Floats:
    """(h, w, 4) linear light of a part of a picture, row 0 at the bottom. Call inside `cycles`."""
    render = scene.render
    left, lower, right, upper = view.window
    scene.camera = camera
    render.resolution_x, render.resolution_y = view.size
    render.use_compositing, render.use_border, render.use_crop_to_border = False, True, True
    render.border_min_x, render.border_max_x, render.border_min_y, render.border_max_y = left, right, lower, upper
    render.image_settings.file_format, render.image_settings.color_depth = "OPEN_EXR", "32"
    with tempfile.TemporaryDirectory() as folder:
        render.filepath = str(Path(folder) / "view.exr")
        bpy.ops.render.render(write_still=True, scene=scene.name)
        image = bpy.data.images.load(render.filepath)
        try:
            return read_pixels(image).copy()
        finally:
            bpy.data.images.remove(image)


def baked_colour(scene: Any, item: Any) -> Floats:
    """(n, 3) diffuse albedo at each vertex of an object, as its material has it."""
    mesh = item.data
    layer = mesh.color_attributes.new("baked", "FLOAT_COLOR", "POINT")
    name, before = layer.name, mesh.color_attributes.active_color_index
    mesh.color_attributes.active_color = layer
    for shown in scene.objects:
        shown.select_set(shown == item)
    bpy.context.view_layer.objects.active = item
    try:
        with (
            cycles(scene, Quality(4, 0.0, denoise=False), device="cpu", seed=1),
            changed([(scene.render.bake, "target", "VERTEX_COLORS")]),
        ):
            bpy.ops.object.bake(type="DIFFUSE", pass_filter={"COLOR"})
        values = np.zeros(4 * len(mesh.vertices), np.float32)
        mesh.color_attributes[name].data.foreach_get("color", values)
        return values.reshape(-1, 4)[:, :3]
    finally:
        mesh.color_attributes.remove(mesh.color_attributes[name])
        mesh.color_attributes.active_color_index = before


def matt_grey(maps: Maps) -> Any:
    """Plain matt grey with the relief: no texture, no sheen, no grain."""
    material = bpy.data.materials.new("grey")
    shader_tree = compat.node_tree_of(material)
    shader_tree.nodes.clear()
    tree = Tree(shader_tree)
    relief = tree.group(relief_group(maps.normal, maps.height, uv=maps.uv), {"Strength": maps.strength})
    matt = tree.node("BsdfDiffuse", {"Color": (GREY,) * 3, "Roughness": 0.0, "Normal": relief["Normal"]})
    tree.node("OutputMaterial", {"Surface": matt["BSDF"]})
    return material


def in_one_colour(material: Any, *, smooth: bool) -> None:
    """Give a material's surface one colour, so that what is left is its bump and its sheen; smooth: take its bump too."""
    for node in material.node_tree.nodes:
        group = getattr(node, "node_tree", None)
        if group is None or not any(inner.bl_idname == "ShaderNodeBsdfPrincipled" for inner in group.nodes):
            continue
        node.node_tree = group.copy()
        for inner in node.node_tree.nodes:
            if inner.bl_idname == "ShaderNodeBsdfPrincipled":
                _unlinked(node.node_tree, inner.inputs["Base Color"], (GREY, GREY, GREY, 1.0))
            elif smooth and inner.bl_idname == "ShaderNodeBump":
                _unlinked(node.node_tree, inner.inputs["Strength"], 0.0)


def _unlinked(tree: Any, socket: Any, value: Any) -> None:
    for link in list(socket.links):
        tree.links.remove(link)
    socket.default_value = value
