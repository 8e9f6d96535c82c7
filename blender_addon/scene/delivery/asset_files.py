"""Exports the piece and its stand as asset files: copies with simple image-textured materials, by Blender's exporters."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from ...core.files.meshes.gltf_tangents import with_whole_tangents
from ...core.files.pictures.exr import with_places
from ...core.files.pictures.labels import Labels
from ...core.files.pictures.png_writer import write_png
from ...core.records import record
from ...core.surface.kinds import KINDS
from ...job.errors import OutputError
from ...job.files.whole_files import in_words
from ..compat import node_tree_of
from ..images import read_pixels
from ..nodes.materials import KIND, MEAN, albedo_of
from ..running.session import whole_file, writes

CLAY = (0.30, 0.26, 0.22)
"""Albedo of an asset without a material or with one that has no single colour: bare clay, set by eye."""
DULL = 0.75
"""Roughness where the material's kind is not known: a guess."""
OWN = "own"


@record
class AssetPart:
    """An object to export, with its material and the images that exchange formats can hold."""

    name: str
    item: bpy.types.Object
    surface: bpy.types.Material | None = None
    albedo: bpy.types.Image | None = None
    normal: bpy.types.Image | None = None


def write_glb(parts: Sequence[AssetPart], path: Path) -> None:
    """Write a binary glTF 2.0 file, whole or not at all."""
    with _copies(parts) as items, whole_file(path) as draft, _only_selected(items):
        _call(
            path, bpy.ops.export_scene.gltf, filepath=str(draft), export_format="GLB", use_selection=True, export_apply=False,
            export_cameras=False, export_lights=False, export_animations=False, export_yup=True, export_normals=True,
            # Without stored tangents each viewer would compute its own tangent space for the normal map.
            export_tangents=any(part.normal is not None for part in parts), export_image_format="AUTO",
        )  # fmt: skip
        with writes(path):
            draft.write_bytes(with_whole_tangents(draft))


def write_usd(parts: Sequence[AssetPart], path: Path) -> None:
    """Write a USD file, and its textures to the folder `textures` beside it, each whole or not at all."""
    if not hasattr(bpy.ops.wm, "usd_export"):
        raise OutputError("This build of Blender has no USD: set usd to false")
    between = path.with_name(f".{path.stem}.usd.draft")
    shutil.rmtree(between, ignore_errors=True)  # left by a run that was killed
    try:
        with in_words(path):
            between.mkdir(parents=True)
        draft = between / path.name
        with _plain_normals(parts, between) as plain, _copies(plain) as items, _only_selected(items):
            _call(
                path, bpy.ops.wm.usd_export, filepath=str(draft), selected_objects_only=True, export_animation=False,
                export_lights=False, export_cameras=False, convert_world_material=False,
            )  # fmt: skip
        for texture in sorted((between / "textures").glob("*")):
            data = texture.read_bytes()
            with whole_file(path.parent / "textures" / texture.name) as place:
                place.write_bytes(_finished(texture, data))
        with whole_file(path) as place:
            shutil.copyfile(draft, place)
    finally:
        shutil.rmtree(between, ignore_errors=True)


def _finished(texture: Path, data: bytes) -> bytes:
    """A texture's bytes; of an OpenEXR file with its offset table filled in, which is empty in files that Blender packed."""
    if texture.suffix != ".exr":
        return data
    try:
        return with_places(data)
    except (ValueError, IndexError):
        raise OutputError(f'"{texture.name}" was not written whole: is the disk full? Free some room and run again') from None


def _call(path: Path, operator: Callable[..., object], **arguments: object) -> None:
    with writes(path):
        operator(**arguments)


@contextlib.contextmanager
def _copies(parts: Sequence[AssetPart]) -> Iterator[list[bpy.types.Object]]:
    """Copies of the objects with their own meshes and simple materials, linked to the scene inside the block."""
    items: list[bpy.types.Object] = []
    materials: list[bpy.types.Material] = []
    stack = contextlib.ExitStack()
    try:
        for part in parts:
            material = _plain_material(part)
            materials.append(material)
            mesh = part.item.data.copy()
            mesh.materials.clear()
            mesh.materials.append(material)
            mesh.polygons.foreach_set("material_index", [0] * len(mesh.polygons))
            for layer in list(mesh.color_attributes):  # an unused colour layer would tint the piece in viewers
                if layer.name != _colour_layer(part):
                    mesh.color_attributes.remove(layer)
            item = bpy.data.objects.new(part.name, mesh)
            stack.enter_context(_named(material, part.name, bpy.data.materials))
            stack.enter_context(_named(item, part.name, bpy.data.objects))
            stack.enter_context(_named(mesh, part.name, bpy.data.meshes))
            bpy.context.scene.collection.objects.link(item)
            items.append(item)
        yield items
    finally:
        stack.close()
        meshes = [item.data for item in items]
        bpy.data.batch_remove([*items, *meshes, *materials])


@contextlib.contextmanager
def _named(block: bpy.types.ID, name: str, blocks: bpy.types.bpy_prop_collection[Any]) -> Iterator[None]:
    """Give a data-block exactly this name inside the `with` block; another that has the name gets it back afterwards."""
    other = blocks.get(name)
    if other == block:
        other = None
    if other is not None:
        other.name = f"{name} (job)"
    block.name = name
    try:
        yield
    finally:
        block.name = f"{name} (copy)"
        if other is not None:
            other.name = name


@contextlib.contextmanager
def _plain_normals(parts: Sequence[AssetPart], folder: Path) -> Iterator[list[AssetPart]]:
    """The parts with their normal maps as 8-bit PNG files, which every viewer reads, instead of large OpenEXR files."""
    temporary, plain = [], []
    try:
        for part in parts:
            if part.normal is None:
                plain.append(part)
                continue
            path = folder / f"{part.name.lower()} normal.png"
            numbers = np.rint(np.clip(read_pixels(part.normal)[::-1, :, :3], 0.0, 1.0) * 255.0).astype(np.uint8)
            with path.open("wb") as file:
                write_png(file, [numbers], (numbers.shape[1], numbers.shape[0]), Labels())
            image = bpy.data.images.load(str(path))
            image.colorspace_settings.name = "Non-Color"
            temporary.append(image)
            plain.append(replace(part, normal=image))
        yield plain
    finally:
        bpy.data.batch_remove(temporary)


def _colour_layer(part: AssetPart) -> str:
    """The name of the colour attribute that the part's material shows, '' where it shows none."""
    if part.surface is None or part.surface.get(KIND) != OWN or part.albedo is not None:
        return ""
    nodes = part.surface.node_tree.nodes if part.surface.node_tree else ()
    return next((str(node.attribute_name) for node in nodes if node.type == "ATTRIBUTE" and node.label == "Own colour"), "")


def _plain_material(part: AssetPart) -> bpy.types.Material:
    surface = part.surface
    material = bpy.data.materials.new(part.name)
    tree = node_tree_of(material)
    tree.nodes.clear()
    out = tree.nodes.new("ShaderNodeOutputMaterial")
    shader = tree.nodes.new("ShaderNodeBsdfPrincipled")
    tree.links.new(shader.outputs["BSDF"], out.inputs["Surface"])
    kind = KINDS.get(str(surface.get(KIND, ""))) if surface else None
    colour = (albedo_of(surface) or surface.get(MEAN) or CLAY) if surface else CLAY
    shader.inputs["Base Color"].default_value = (*tuple(colour)[:3], 1.0)
    shader.inputs["Roughness"].default_value = kind.roughness if kind else DULL
    shader.inputs["Metallic"].default_value = float(bool(kind and kind.metal))
    has_uv = bool(part.item.data.uv_layers)
    shows_scan = surface is None or (kind is not None and kind.key == OWN)
    layer = _colour_layer(part)
    if layer:
        painted = tree.nodes.new("ShaderNodeVertexColor")
        painted.layer_name = layer
        tree.links.new(painted.outputs["Color"], shader.inputs["Base Color"])
    if part.albedo is not None and has_uv and shows_scan:
        texture = _texture(tree, part.albedo)
        tree.links.new(texture.outputs["Color"], shader.inputs["Base Color"])
    if part.normal is not None and has_uv:
        bump = tree.nodes.new("ShaderNodeNormalMap")
        tree.links.new(_texture(tree, part.normal).outputs["Color"], bump.inputs["Color"])
        tree.links.new(bump.outputs["Normal"], shader.inputs["Normal"])
    return material


def _texture(tree: bpy.types.NodeTree, image: bpy.types.Image) -> bpy.types.Node:
    node = tree.nodes.new("ShaderNodeTexImage")
    node.image = image
    return node


@contextlib.contextmanager
def _only_selected(items: Sequence[bpy.types.Object]) -> Iterator[None]:
    layer = bpy.context.view_layer
    kept, active = [item for item in layer.objects if item.select_get()], layer.objects.active
    for selected in kept:
        selected.select_set(False)
    for item in items:
        item.select_set(True)
    layer.objects.active = items[0] if items else None
    try:
        yield
    finally:
        for selected in kept:
            selected.select_set(True)
        layer.objects.active = active
