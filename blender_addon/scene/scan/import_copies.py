"""Prepares a scan file for Blender's importer: the file itself, or a copy without references that must not be followed.

Importers open whatever a file names: material libraries, pictures, further layers, by any path. The file that they get has no
references outside the scan's own folder; what is left out is reported.
"""

from __future__ import annotations

import contextlib
import os
import shutil
from collections.abc import Collection
from pathlib import Path

from ...core.files.meshes.fbx_names import not_to_follow, packed_not_to_decode, stored_names, write_without
from ...core.files.meshes.gltf import Gltf, is_embedded
from ...core.files.meshes.gltf_check import uses_draco, uses_meshopt
from ...core.files.meshes.gltf_copy import write_copy
from ...core.files.meshes.gltf_pictures import pictures
from ...core.files.meshes.mesh_files import Checked, moved_to_zero, path_kind, without_bad_numbers
from ...core.files.meshes.ply import FileProblem
from ...core.files.meshes.ply_plain import picture_count, write_obj, write_plain
from ...core.files.meshes.ply_rows import read_rows
from ...core.files.texture_names import PICTURES
from ...core.records import record
from . import unpacking


@record
class Readable:
    """A file for Blender's importer.

    kind: format, as its usual suffix. left_out: (name, reason) of each picture that was left out. materials: whether to import
    its materials.
    """

    path: Path
    kind: str
    left_out: tuple[tuple[str, str], ...] = ()
    materials: bool = True


def readable(path: Path, checked: Checked, folder: Path, *, allowed: Collection[Path] = ()) -> Readable:
    """The scan in a form that the importer may read; copies go into the empty folder `folder`. Raises FileProblem."""
    kind = path_kind(path)
    if checked.gltf is not None:
        return _gltf(path, kind, checked, checked.gltf, folder)
    if checked.read_in_part:
        return rewritten_ply(path, folder)
    copy = folder / f"{path.stem or 'scan'}{kind}"
    if checked.bad_vertices or checked.bad_others or checked.recode or checked.library_elsewhere:
        without_bad_numbers(path, copy)
        path = copy
    if checked.origin is not None:
        moved = folder / f"{path.stem or 'scan'} moved{kind}"
        moved_to_zero(path, moved, checked.origin)
        path = moved
    if path.parent == folder:
        return Readable(path, kind)
    if kind == ".obj":  # a copy without its material library, which `textures` reads under the rules for references
        _link(path, copy)
        return Readable(copy, kind)
    if kind == ".fbx":
        return _fbx(path, folder, allowed)
    if kind in (".usd", ".usda", ".usdc", ".usdz"):
        return _usd(path, kind, checked, folder)
    return _with_suffix(path, kind, folder)


def rewritten_ply(path: Path, folder: Path) -> Readable:
    """A PLY that Blender reads only in part, or not at all, as one that it reads. Raises FileProblem."""
    rows = read_rows(path)
    if picture_count(rows) > 1:
        target = folder / f"{path.stem or 'scan'}.obj"
        write_obj(rows, target)
        return Readable(target, ".obj")
    target = folder / f"{path.stem or 'scan'}.ply"
    write_plain(rows, target)
    return Readable(target, ".ply")


def _with_suffix(path: Path, kind: str, folder: Path) -> Readable:
    """The file under a name with the suffix of its format, as importers require."""
    if path.suffix.lower() == kind:
        return Readable(path, kind)
    copy = folder / f"{path.name}{kind}"
    _link(path, copy)
    return Readable(copy, kind)


def _link(path: Path, target: Path) -> None:
    """Make `target` another name of a file: a link, or a copy where links can't be made."""
    for make in (os.symlink, os.link):
        with contextlib.suppress(OSError, NotImplementedError):
            make(path.resolve(), target)
            return
    shutil.copyfile(path, target)


def _gltf(path: Path, kind: str, checked: Checked, gltf: Gltf, folder: Path) -> Readable:
    found = pictures(gltf)
    left_out = tuple((picture.name, picture.refused) for picture in found if picture.refused)
    outside = any(isinstance(row.get("uri"), str) and not is_embedded(row["uri"]) for row in gltf.rows("buffers"))
    draco = meshopt = None
    if uses_draco(gltf) and unpacking.importer_library(unpacking.DRACO) is None:
        draco = unpacking.draco_decoder()
        drop_draco = draco is None
    else:
        drop_draco = False
    if uses_meshopt(gltf) and unpacking.importer_library(unpacking.MESHOPT) is None:
        meshopt = unpacking.meshopt_decoder()
    plain = not (left_out or outside or draco or meshopt or drop_draco or any(picture.file for picture in found))
    if plain and not checked.bad_vertices and gltf.as_importers_want(kind):
        return Readable(path, kind)
    if checked.bad_vertices:
        repaired = folder / f"{path.stem or 'scan'} repaired{kind}"
        without_bad_numbers(path, repaired)
        gltf = gltf.with_chunk_of(repaired)
    copy = folder / f"{path.stem or 'scan'}.gltf"
    write_copy(gltf, copy, found, draco=draco, meshopt=meshopt, drop_draco=drop_draco)
    return Readable(copy, ".gltf", left_out)


def _fbx(path: Path, folder: Path, allowed: Collection[Path]) -> Readable:
    names = stored_names(path)
    refused = not_to_follow(path, names, allowed) | packed_not_to_decode(path, names)
    if not refused:
        return _with_suffix(path, ".fbx", folder)
    copy = folder / f"{path.stem or 'scan'}.fbx"
    write_without(path, copy, refused)
    said = {reference.shown: reference.refused for reference in refused.values()}
    return Readable(copy, ".fbx", tuple(said.items()))


def _usd(path: Path, kind: str, checked: Checked, folder: Path) -> Readable:
    """A USD file, without its materials where these refer to files outside; refused where its layers do."""
    layers = [each for each in checked.refused if not each.written.lower().endswith(PICTURES)]
    if layers:
        raise FileProblem(
            f'it brings in "{layers[0].shown}", which can\'t be used: {layers[0].refused}; put it beside the scan, or export '
            "the scan as one file"
        )
    plain = _with_suffix(path, kind, folder)
    left_out = tuple((each.shown, each.refused) for each in checked.refused)
    return Readable(plain.path, kind, left_out, materials=not left_out)
