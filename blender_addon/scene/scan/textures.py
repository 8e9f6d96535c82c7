"""Finds the pictures that a scan's own file names, in the imported material or the .mtl, and makes a material of them.

Pictures that no material names are found by `picture_choice`. Pictures are packed, so that a job stays complete when its folder
moves; packing keeps the file's own compressed bytes.
"""

from __future__ import annotations

import contextlib
import re
from collections.abc import Collection, Sequence
from dataclasses import dataclass, field
from pathlib import Path, PureWindowsPath

import bpy

from ...core.files.meshes import mtl
from ...core.files.meshes.fbx_names import is_struck_out
from ...core.files.meshes.mesh_files import path_kind
from ...core.files.meshes.ply import FileProblem
from ...core.files.meshes.ply_plain import MATERIAL
from ...core.files.meshes.ply_rows import pictures_named
from ...core.files.pictures.picture_files import looks_whole
from ...core.files.pictures.picture_headers import check_picture, check_picture_bytes, check_room
from ...core.files.plain_files import is_plain, lies_within
from ...core.files.references import Reference, find_beside
from ...core.files.texture_names import PICTURES
from .. import roles
from ..compat import node_tree_of
from ..images import LARGEST, make_image, read_pixels, size_of
from ..prints.fingerprint import noted
from ..surface.base_picture import SOCKETS, image_behind, picture_of
from .importers import COLOUR

TILED = "<UDIM>"
"""What stands in a picture's name for the number of a tile."""
PARTS = ("base", "normal", "roughness", "occlusion")


@dataclass
class Textures:
    """The pictures of one material. images: part (base, normal, roughness, occlusion) to image. flipped: normal map is -Y."""

    images: dict[str, bpy.types.Image] = field(default_factory=dict)
    flipped: bool = False
    found: dict[str, str] = field(default_factory=dict)
    """Part to its source: 'file', 'mtl', 'name' or 'hand'."""
    others: dict[str, bpy.types.Image] = field(default_factory=dict)
    """Further images of the scan's own material, which are not used; part or image name to image."""
    refused: list[str] = field(default_factory=list)
    """A message on each picture whose content does not fit its use in the material."""


def textures_of(
    material: bpy.types.Material | None, path: Path, *, missing: list[str], allowed: Collection[Path] = ()
) -> Textures:
    """The pictures that an imported material or its .mtl names.

    path: the scan file. missing: messages on pictures that are missing, damaged or left out are appended to it. allowed:
    resolved paths outside the scan's own folder that the job sheet itself names.
    """
    found = Textures()
    if material is not None:
        _from_nodes(material, path, found, missing, allowed)
    for part, written in _from_mtl(path, material, allowed, missing).items():
        part = _MTL_PARTS.get(part, part)
        if part in found.images or part not in PARTS:
            continue
        reference = find_beside(written, path, picture_folders(path), allowed=allowed)
        if reference.path is None:
            missing.append(_why_not(reference))
        else:
            load_picture(found, part, reference.path, "mtl", missing)
    return found


def _why_not(reference: Reference) -> str:
    if reference.refused:
        return f'the texture "{reference.shown}" is left out, since {reference.refused}'
    if TILED in reference.written:
        return (
            f'the texture "{reference.shown}" is in several tiles (UDIM), which are not read; export it with one picture, '
            "or name one of them as its picture"
        )
    return f'the texture "{reference.shown}" is missing'


def _from_nodes(
    material: bpy.types.Material, path: Path, found: Textures, missing: list[str], allowed: Collection[Path]
) -> None:
    """Find the pictures linked to an imported material's sockets."""
    for part in SOCKETS:
        image = picture_of(material, part)
        if image is None or not _usable(image, path, missing, allowed):
            continue
        if part in PARTS:
            found.images[part], found.found[part] = image, "file"
        elif image not in found.images.values():
            found.others[part] = image
    tree = material.node_tree
    nodes = [] if tree is None else list(tree.nodes)
    groups = [socket for node in nodes if node.bl_idname == "ShaderNodeGroup" for socket in node.inputs]  # glTF's occlusion
    named = [(socket.name.lower(), image_behind(socket)) for socket in groups]
    named += [("", node.image) for node in nodes if node.bl_idname == "ShaderNodeTexImage"]
    for part, image in named:
        if image is not None and image.size[0] and image not in [*found.images.values(), *found.others.values()]:
            found.others[part or image.name] = image


def _usable(image: bpy.types.Image, path: Path, missing: list[str], allowed: Collection[Path]) -> bool:
    """Whether an imported image can be read; if so, it is packed. Its header is checked before it is decoded."""
    shown = PureWindowsPath(image.filepath).name or image.name
    if is_struck_out(shown):  # already reported under its own name
        return False
    try:
        if image.packed_file is None:
            written = bpy.path.abspath(image.filepath)
            reference = find_beside(written, path, picture_folders(path), allowed=allowed)
            if reference.path is None:
                missing.append(_why_not(reference))
                return False
            if str(reference.path) != written:
                image.filepath = str(reference.path)
            check_room(check_picture(reference.path))
            whole = looks_whole(reference.path.read_bytes(), reference.path.suffix)
        else:
            data = image.packed_file.data
            if is_struck_out(data):
                return False
            check_room(check_picture_bytes(data, shown))
            whole = looks_whole(data, Path(shown).suffix)
    except FileProblem as problem:
        missing.append(f'the texture "{shown}" is left out, since {_first(problem)}')
        return False
    except OSError:
        whole = False
    if not whole or not image.size[0]:
        missing.append(f'the texture "{shown}" is cut short or can\'t be read')
        return False
    if image.packed_file is None:
        image.pack()
    return True


def _first(problem: FileProblem) -> str:
    """The problem without its remedy, which the note gives at its end."""
    return str(problem).split(";")[0]


_MTL_PARTS = {"bump": "normal", "glow": "base"}
"""Maps of a library that may replace others: some programs write normal maps as "bump", and unlit colour as emission."""


def _from_mtl(path: Path, material: bpy.types.Material, allowed: Collection[Path], missing: list[str]) -> dict[str, str]:
    """The files that the .mtl beside an OBJ, or the header of a PLY, names for a material: part to file as written,
    replacements last."""
    if path_kind(path) == ".ply":
        return _from_ply(path, material)
    if path_kind(path) != ".obj":
        return {}
    tables: dict[str, dict[str, str]] = {}
    for library in mtl.obj_libraries(path):
        reference = find_beside(library, path, [path.parent], allowed=allowed)
        if reference.path is None:
            if reference.refused:
                missing.append(f'the material library "{reference.shown}" is left out, since {reference.refused}')
            continue
        with contextlib.suppress(OSError):
            with reference.path.open("rb") as file:
                text = mtl.text_of(file.read(mtl.MOST))
            for name, maps in mtl.read_mtl(text).items():
                tables.setdefault(name, maps)
    if not tables:
        return {}
    if material is None:
        maps = next(iter(tables.values())) if len(tables) == 1 else {}
    else:
        name = material.name
        maps = tables.get(name) or tables.get(re.sub(r"\.\d{3}$", "", name)) or {}
    return dict(sorted(maps.items(), key=lambda each: each[0] in _MTL_PARTS))


def missing_libraries(path: Path, allowed: Collection[Path] = ()) -> list[str]:
    """The material libraries that an OBJ names, where none of them is there."""
    if path_kind(path) != ".obj":
        return []
    named = [(name, find_beside(name, path, [path.parent], allowed=allowed)) for name in mtl.obj_libraries(path)]
    own = f"{path.stem}.mtl"  # looked for although it may not be named
    return (
        [] if any(reference.path for _, reference in named) else [reference.shown for name, reference in named if name != own]
    )


def _from_ply(path: Path, material: bpy.types.Material | None) -> dict[str, str]:
    with path.open("rb") as file:
        named = pictures_named(file.read(1 << 16))
    name = "" if material is None else re.sub(r"\.\d{3}$", "", material.name)
    return next(({"base": file} for number, file in enumerate(named) if name in ("", MATERIAL.format(number))), {})


def picture_folders(path: Path) -> list[Path]:
    """The folders where a scan's pictures may be: its own, and subfolders with usual names."""
    names = ("textures", "texture", "tex", "maps", "images", "materials", "Textures", "Maps", "Images", path.stem,
             f"{path.stem}_textures", f"{path.stem}.fbm")  # fmt: skip
    there = (path.parent / name for name in names if (path.parent / name).is_dir())
    return [path.parent, *(folder for folder in there if lies_within(folder, path.parent))]


def pictures_beside(path: Path) -> list[Path]:
    """The picture files in a scan's `picture_folders`, by folder and name.

    Regular files only, without links that lead out of the scan's folder.
    """
    found: list[Path] = []
    for folder in picture_folders(path):
        try:
            files = sorted(file for file in folder.iterdir() if file.suffix.lower() in PICTURES)
        except OSError:  # a folder without read permission
            continue
        found += [file for file in files if is_plain(file) and lies_within(file, path.parent)]
    return found


def load_picture(found: Textures, part: str, file: Path, source: str, missing: list[str]) -> bool:
    """Load and pack a picture file as that part; False, with a message in `missing`, where it is damaged.

    source: where the picture was found, in words.
    """
    words = f'the texture "{file.name}" is cut short or can\'t be read'
    if words in missing:
        return False
    try:
        check_room(check_picture(file))
        whole = looks_whole(file.read_bytes(), file.suffix)
        image = bpy.data.images.load(str(file), check_existing=False) if whole else None
    except FileProblem as problem:
        words = f'the texture "{file.name}" is left out, since {_first(problem)}'
        if words not in missing:
            missing.append(words)
        return False
    except (OSError, RuntimeError):
        image = None
    if image is None or not image.size[0]:
        missing.append(words)
        return False
    image.pack()
    found.images[part], found.found[part] = image, source
    return True


def scan_material(name: str, textures: Textures, *, colours: bool) -> bpy.types.Material:
    """A new matt Principled material with a scan's pictures.

    colours: the mesh has vertex colours, which are used where there is no base texture.
    """
    material = bpy.data.materials.new(name)
    tree = node_tree_of(material)
    tree.nodes.clear()
    out = tree.nodes.new("ShaderNodeOutputMaterial")
    shader = tree.nodes.new("ShaderNodeBsdfPrincipled")
    out.location, shader.location = (300, 0), (0, 0)
    shader.inputs["Roughness"].default_value = 0.8
    shader.inputs["Base Color"].default_value = (0.5, 0.5, 0.5, 1.0)
    tree.links.new(shader.outputs["BSDF"], out.inputs["Surface"])
    for row, part in enumerate(PARTS):
        if part in textures.images:
            _picture(tree, shader, part, textures, row)
    if colours and "base" not in textures.images:
        node = tree.nodes.new("ShaderNodeVertexColor")
        node.layer_name = COLOUR
        node.location = (-400, 0)
        tree.links.new(node.outputs["Color"], shader.inputs["Base Color"])
    material[roles.MADE] = noted(material)  # lets the job remove it when the scan is imported again
    return material


def _picture(tree: bpy.types.NodeTree, shader: bpy.types.Node, part: str, textures: Textures, row: int) -> None:
    image = textures.images[part]
    if part != "base":
        image.colorspace_settings.name = "Non-Color"
    if part == "normal" and textures.flipped:
        image = textures.images[part] = _green_flipped(image)
    node = tree.nodes.new("ShaderNodeTexImage")
    node.image, node.name = image, part
    node.label, node.location = part.capitalize(), (-700, 300 - 300 * row)
    if part == "base":
        tree.links.new(node.outputs["Color"], shader.inputs["Base Color"])
    elif part == "roughness":
        tree.links.new(node.outputs["Color"], shader.inputs["Roughness"])
    elif part == "normal":
        bump = tree.nodes.new("ShaderNodeNormalMap")
        bump.location = (-200, -300)
        tree.links.new(node.outputs["Color"], bump.inputs["Color"])
        tree.links.new(bump.outputs["Normal"], shader.inputs["Normal"])


def _green_flipped(image: bpy.types.Image) -> bpy.types.Image:
    """A new image with the green channel inverted, since the job's normal maps are all +Y; at the working size."""
    pixels = read_pixels(image, limit=LARGEST)
    pixels[..., 1] = 1.0 - pixels[..., 1]
    name, image.name = image.name, f"{image.name} -Y"  # the new image takes the name of the file
    return make_image(name, pixels, data=True, floating=image.is_float)


def sizes_of(materials: Sequence[bpy.types.Material | None]) -> dict[int, tuple[int, int]]:
    """Material slot to the size in pixels of its base texture."""
    images = {slot: picture_of(material) for slot, material in enumerate(materials)}
    return {slot: size_of(image) for slot, image in images.items() if image is not None and image.size[0]}
