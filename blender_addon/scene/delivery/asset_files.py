"""The piece and its stand as asset files: copies with plain image-textured materials, written by Blender's exporters."""

from __future__ import annotations

import contextlib
import shutil
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import bpy

from ...core.files.pictures.exr import with_places
from ...job.errors import OutputError
from ...job.files.whole_files import in_words
from ..compat import node_tree_of
from ..running.session import whole_file, writes

CLAY = (0.30, 0.26, 0.22)


@dataclass(frozen=True)
class AssetPart:
    """An object to hand over, with the material it wears and the images that exchange formats can hold."""

    name: str
    item: Any
    surface: Any | None = None
    albedo: Any | None = None
    normal: Any | None = None


def write_glb(parts: Sequence[AssetPart], path: Path) -> None:
    """A binary glTF 2.0 file; whole or not at all."""
    with _copies(parts) as items, whole_file(path) as draft, _only_selected(items):
        _call(
            path, bpy.ops.export_scene.gltf, filepath=str(draft), export_format="GLB", use_selection=True, export_apply=False,
            export_cameras=False, export_lights=False, export_animations=False, export_yup=True, export_normals=True,
            # Without tangents of its own each viewer would make up a frame for the normal map.
            export_tangents=any(part.normal is not None for part in parts), export_image_format="AUTO",
        )  # fmt: skip


def write_usd(parts: Sequence[AssetPart], path: Path) -> None:
    """A USD file, and its textures in the folder `textures` beside it; each whole or not at all."""
    if not hasattr(bpy.ops.wm, "usd_export"):
        raise OutputError("This build of Blender has no USD: leave usd off")
    between = path.with_name(f".{path.stem}.usd.draft")
    shutil.rmtree(between, ignore_errors=True)  # of a run that was killed
    try:
        with in_words(path):
            between.mkdir(parents=True)
        draft = between / path.name
        with _copies(parts) as items, _only_selected(items):
            _call(path, bpy.ops.wm.usd_export, filepath=str(draft), selected_objects_only=True, export_animation=False)
        for texture in sorted(between.glob("textures/*")):
            data = texture.read_bytes()
            with whole_file(path.parent / "textures" / texture.name) as place:
                place.write_bytes(_finished(texture, data))
        with whole_file(path) as place:
            shutil.copyfile(draft, place)
    finally:
        shutil.rmtree(between, ignore_errors=True)


def _finished(texture: Path, data: bytes) -> bytes:
    """A texture's bytes, an OpenEXR file with its table of places, which Blender leaves empty in what it has packed."""
    if texture.suffix != ".exr":
        return data
    try:
        return with_places(data)
    except (ValueError, IndexError):
        raise OutputError(f'"{texture.name}" was not written whole: is the disk full? Free some room and run again') from None


def _call(path: Path, operator: Any, **arguments: Any) -> None:
    with writes(path):
        operator(**arguments)


@contextlib.contextmanager
def _copies(parts: Sequence[AssetPart]) -> Iterator[list[Any]]:
    """Copies with their own meshes and plain materials, linked to the scene for the time of the block."""
    items, materials = [], []
    try:
        for part in parts:
            material = _plain_material(part)
            materials.append(material)
            mesh = part.item.data.copy()
            mesh.materials.clear()
            mesh.materials.append(material)
            mesh.polygons.foreach_set("material_index", [0] * len(mesh.polygons))
            for layer in list(mesh.color_attributes):  # an unused colour layer would tint the piece in viewers
                mesh.color_attributes.remove(layer)
            item = bpy.data.objects.new(part.name, mesh)
            bpy.context.scene.collection.objects.link(item)
            items.append(item)
        yield items
    finally:
        meshes = [item.data for item in items]
        bpy.data.batch_remove([*items, *meshes, *materials])


def _plain_material(part: AssetPart) -> Any:
    surface = part.surface
    material = bpy.data.materials.new(part.name)
    tree = node_tree_of(material)
    tree.nodes.clear()
    out = tree.nodes.new("ShaderNodeOutputMaterial")
    shader = tree.nodes.new("ShaderNodeBsdfPrincipled")
    tree.links.new(shader.outputs["BSDF"], out.inputs["Surface"])
    colour = surface.get("bozzetto_albedo", CLAY) if surface else CLAY
    shader.inputs["Base Color"].default_value = (*colour, 1.0)
    shader.inputs["Roughness"].default_value = surface.get("bozzetto_roughness", 0.75) if surface else 0.75
    shader.inputs["Metallic"].default_value = surface.get("bozzetto_metallic", 0.0) if surface else 0.0
    has_uv = bool(part.item.data.uv_layers)
    shows_scan = bool(surface and surface.get("bozzetto_shows_scan", False)) or surface is None
    if part.albedo is not None and has_uv and shows_scan:
        texture = _texture(tree, part.albedo)
        tree.links.new(texture.outputs["Color"], shader.inputs["Base Color"])
    if part.normal is not None and has_uv:
        bump = tree.nodes.new("ShaderNodeNormalMap")
        tree.links.new(_texture(tree, part.normal).outputs["Color"], bump.inputs["Color"])
        tree.links.new(bump.outputs["Normal"], shader.inputs["Normal"])
    return material


def _texture(tree: Any, image: Any) -> Any:
    node = tree.nodes.new("ShaderNodeTexImage")
    node.image = image
    return node


@contextlib.contextmanager
def _only_selected(items: Sequence[Any]) -> Iterator[None]:
    layer = bpy.context.view_layer
    kept, active = [one for one in layer.objects if one.select_get()], layer.objects.active
    for one in kept:
        one.select_set(False)
    for one in items:
        one.select_set(True)
    layer.objects.active = items[0] if items else None
    try:
        yield
    finally:
        for one in kept:
            one.select_set(True)
        layer.objects.active = active
