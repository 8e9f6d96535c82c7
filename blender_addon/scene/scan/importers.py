"""How does a scan file come into the scene? Through Blender's importers, its meshes then read as one set of triangles.

What an importer leaves behind (objects, materials, lights) is scaffolding: it is never offered, so the stage sweeps it.
"""

from __future__ import annotations

import tempfile
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import bpy
import numpy as np

from ...core.files import mesh_files
from ...core.files.file_coordinates import FAR_AWAY
from ...core.mesh.topology import joined, submesh
from ...core.mesh.triangles import TriangleMesh
from ...job.errors import InputError
from ..compat import READS_MESHOPT
from ..meshes import read_mesh

COLOUR = "Colour"
"""The name of the vertex colours on our scans."""


@dataclass
class Imported:
    """A scan file's triangles in the file's own unit, the imported material a slot (or None), and what was found on the way."""

    mesh: TriangleMesh
    materials: list[Any] = field(default_factory=list)
    parts: int = 1
    dropped_vertices: int = 0
    mended_numbers: int = 0
    in_metres: bool = False


def import_scan(path: Path) -> Imported:
    """Import a mesh file. Raises InputError with the file's name and what to do."""
    try:
        checked = mesh_files.check_file(path, meshopt=READS_MESHOPT)
    except mesh_files.FileProblem as problem:
        raise InputError(f'The scan "{path.name}" can\'t be used: {problem}') from None
    if bpy.context.mode != "OBJECT":
        raise InputError("Importing a scan needs Object Mode: leave the mode you are in, then run again")
    if checked.bad_vertices or checked.bad_others:
        with tempfile.TemporaryDirectory() as folder:
            copy = Path(folder) / path.name
            mesh_files.without_bad_numbers(path, copy)
            objects = _imported(copy, path.name)
    else:
        objects = _imported(path, path.name)
    found = _gathered(objects, path.name)
    mesh, dropped = _sound(found.mesh)
    if not len(mesh.faces):
        why = "all its faces have coordinates that are not numbers; export it again"
        raise InputError(
            f'The scan "{path.name}" can\'t be used: {why if dropped else "it holds no faces; export it again as a mesh"}'
        )
    found.mesh, found.dropped_vertices = mesh, dropped
    found.mended_numbers, found.in_metres = checked.bad_others, checked.in_metres
    return found


def _imported(path: Path, shown: str) -> list[Any]:
    """The mesh objects that Blender's importer for this kind of file makes."""
    before = {item.session_uid for item in bpy.data.objects}
    reports = ""
    try:
        _call(path)
    except RuntimeError as error:  # an operator's own error report
        reports = str(error).strip().removeprefix("Error:").strip()
    except Exception as error:
        reports = f"{type(error).__name__}: {error}"
    new = [item for item in bpy.data.objects if item.session_uid not in before]
    meshes = [item for item in new if item.type == "MESH" and len(item.data.polygons)]
    if not meshes:
        raise InputError(f'The scan "{shown}" can\'t be used: {_why(reports)}')
    return meshes


def _why(reports: str) -> str:
    """What an importer's report says, in words that end in what to do."""
    if "draco" in reports.lower():
        return "it is packed with Draco compression and this Blender lacks its Draco library; export the scan again without it"
    if "meshopt" in reports.lower():
        return "it is packed with meshopt compression and this Blender lacks its library; export the scan again without it"
    told = (line for line in reports.splitlines() if not line.startswith((" ", "Python:", "Location")))
    lines = [line.strip() for line in told if line.strip()]
    if not lines:
        return "no faces were found in it; export it again as a mesh"
    return f"Blender's importer says: {lines[-1][:160]}; export it again as a mesh"


def _call(path: Path) -> None:
    suffix, name = path.suffix.lower(), str(path)
    if suffix == ".obj":
        bpy.ops.wm.obj_import(filepath=name, use_split_objects=False, use_split_groups=False, validate_meshes=True)
    elif suffix == ".ply":
        bpy.ops.wm.ply_import(filepath=name, import_attributes=False)
    elif suffix == ".stl":
        bpy.ops.wm.stl_import(filepath=name)
    elif suffix in (".glb", ".gltf"):
        bpy.ops.import_scene.gltf(filepath=name, import_pack_images=True)
    elif suffix == ".fbx":
        bpy.ops.wm.fbx_import(filepath=name, use_anim=False)
    else:
        _usd(name)


def _usd(name: str) -> None:
    bpy.ops.wm.usd_import(
        filepath=name, import_cameras=False, import_lights=False, import_curves=False, import_volumes=False,
        set_frame_range=False, import_textures_mode="IMPORT_PACK", create_world_material=False,
    )  # fmt: skip


def _gathered(objects: list[Any], shown: str) -> Imported:
    """The triangles of all mesh objects in world space, materials numbered through."""
    bpy.context.view_layer.update()
    materials: list[Any] = []
    meshes = []
    for item in sorted(objects, key=lambda one: one.name):
        world = np.array(item.matrix_world, float)
        item.parent = None
        item.matrix_basis = np.eye(4).tolist()
        mesh = read_mesh(item)
        with np.errstate(invalid="ignore", over="ignore"):
            placed = mesh.vertices @ world[:3, :3].T + world[:3, 3]
        faces, uv = mesh.faces, mesh.uv
        if np.linalg.det(world[:3, :3]) < 0:  # a mirrored part would face inwards
            faces, uv = faces[:, ::-1], None if uv is None else uv[:, ::-1]
        slots = [slot.material for slot in item.material_slots] or [None]
        numbers = []
        for material in slots:
            if material not in materials:
                materials.append(material)
            numbers.append(materials.index(material))
        own = np.minimum(mesh.material, len(numbers) - 1)
        colours = {COLOUR: next(iter(mesh.colours.values()))} if mesh.colours else {}
        own = np.array(numbers, np.int32)[own]
        placed = placed.astype(np.float32)
        meshes.append(replace(mesh, vertices=placed, faces=faces, uv=uv, material=own, colours=colours, face_marks={}))
    return Imported(joined(meshes), materials, parts=len(meshes))


def _sound(mesh: TriangleMesh) -> tuple[TriangleMesh, int]:
    """The mesh without vertices that are no numbers or FAR away, and how many there were; sound UVs and colours."""
    vertices = mesh.vertices
    good = np.isfinite(vertices).all(axis=1) & (np.abs(np.nan_to_num(vertices)) < FAR_AWAY).all(axis=1)
    dropped = int((~good).sum())
    used = np.zeros(len(vertices), bool)
    used[mesh.faces] = True
    if dropped or not used.all():
        mesh = submesh(mesh, good[mesh.faces].all(axis=1))
    uv = mesh.uv
    if uv is not None and not np.isfinite(uv).all():
        uv = np.nan_to_num(uv, nan=0.0, posinf=0.0, neginf=0.0)
    return replace(mesh, uv=uv, colours=_telling(mesh.colours)), dropped


def _telling(colours: dict[str, Any]) -> dict[str, Any]:
    """Vertex colours that say something: those of one colour throughout are left out."""
    return {
        name: np.clip(np.nan_to_num(values), 0.0, 1.0)
        for name, values in colours.items()
        if len(values) and np.ptp(np.nan_to_num(values[:, :3]), axis=0).max() > 1e-3
    }
