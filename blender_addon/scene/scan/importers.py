"""Imports a scan file through Blender's importers and reads its meshes as one set of triangles.

The objects, materials and lights that an importer creates are temporary: they are not offered, so the stage removes them. What
the importer prints goes to the log; an exception becomes one sentence for the user.
"""

from __future__ import annotations

import re
import tempfile
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path

import bpy
import numpy as np

from ...core import memory
from ...core.arrays import Floats, Ints
from ...core.files.meshes import mesh_files
from ...core.files.meshes.file_coordinates import FAR_AWAY
from ...core.mesh.topology import joined, submesh
from ...core.mesh.triangles import TriangleMesh
from ...core.srgb import decode, encode
from ...job.errors import InputError
from ..meshes import is_bare, read_mesh, read_uv
from ..running.captured import captured
from .import_copies import Readable, readable, rewritten_ply
from .laid_out import layout_of
from .unpacking import unpackable

COLOUR = "Colour"
"""The name of the colour attribute on imported scans."""


@dataclass
class Imported:
    """A scan file's triangles in the file's own unit, and what was found during the import.

    materials: the imported material of each slot, or None. left_out: (name, reason) of each picture that the file names and
    that was not read. remarks: the importer's warnings where it still made a mesh. stray_faces: number of faces that were left
    out because they refer to missing vertices. step: the smallest difference of coordinates that 32-bit numbers hold there, in
    the file's unit. reflected: number of parts that the file itself mirrors by a negative scale. block: the importer's own
    mesh, with faces `faces_of_block`.
    """

    mesh: TriangleMesh
    materials: list[bpy.types.Material | None] = field(default_factory=list)
    parts: int = 1
    dropped_vertices: int = 0
    repaired_numbers: int = 0
    in_metres: bool = False
    left_out: tuple[tuple[str, str], ...] = ()
    remarks: tuple[str, ...] = ()
    stray_faces: int = 0
    step: float = 0.0
    reflected: int = 0
    block: bpy.types.Mesh | None = None
    faces_of_block: Ints | None = None

    def same_block(self) -> bpy.types.Mesh | None:
        """The importer's own mesh, if its faces are still those of `mesh`; else None."""
        return self.block if self.block is not None and self.mesh.faces is self.faces_of_block else None


def import_scan(path: Path, *, allowed: Collection[Path] = (), log: Callable[[str], None] | None = None) -> Imported:
    """Import a mesh file. Raises InputError with the file's name and what to do.

    allowed: resolved paths outside the scan's own folder that it may refer to. log: called with each line the importer prints.
    """
    if bpy.context.mode != "OBJECT":
        raise InputError("Importing a scan needs Object Mode: leave the mode you are in, then run again")
    shown = path.name if len(path.name) <= 80 else f"{path.name[:60]}... ({len(path.name)} letters)"
    try:
        checked = mesh_files.check_file(path, unpacks=unpackable(), allowed=allowed)
        if words := memory.shortage(checked.triangles):
            raise mesh_files.FileProblem(f"its {words}; thin it out before, or close other programs")
        with tempfile.TemporaryDirectory(prefix="bozzetto-") as folder:
            source = readable(path, checked, Path(folder), allowed=allowed)
            try:
                found, complaints = _read(source, shown, log)
            except InputError:
                if source.kind != ".ply" or checked.read_in_part:
                    raise
                found, complaints = _read(rewritten_ply(path, Path(folder)), shown, log)
    except mesh_files.FileProblem as problem:
        raise InputError(f'The scan "{shown}" can\'t be used: {problem}') from None
    except OSError as error:
        raise InputError(
            f'The scan "{shown}" can\'t be copied for the importer ({error.strerror or error}): free some room in the '
            f'folder for temporary files "{tempfile.gettempdir()}"'
        ) from None
    mesh, dropped, repaired = _sound(found.mesh)
    if not len(mesh.faces):
        why = "all its faces have coordinates that are not numbers; export it again"
        raise InputError(
            f'The scan "{shown}" can\'t be used: {why if dropped else "it holds no faces; export it again as a mesh"}'
        )
    found.mesh, found.dropped_vertices = mesh, dropped
    found.step = float(np.spacing(np.float32(max(mesh.vertices.max(), -mesh.vertices.min()))))
    found.repaired_numbers, found.in_metres = max(checked.bad_others, repaired), checked.in_metres
    found.left_out, found.remarks = source.left_out, tuple(complaints)
    return found


def _read(source: Readable, shown: str, log: Callable[[str], None] | None) -> tuple[Imported, list[str]]:
    """The triangles that Blender's importer for this format makes, and its warnings."""
    before = {item.session_uid for item in bpy.data.objects}
    raised = ""
    with captured() as lines:
        try:
            _call(source)
        except RuntimeError as error:  # an operator's own error report
            raised = str(error).strip().removeprefix("Error:").strip()
        except Exception as error:
            raised = f"{type(error).__name__}: {error}"
    if log is not None:
        for line in [*lines, *raised.splitlines()]:
            log(f'"{shown}": {line}')
    new = [item for item in bpy.data.objects if item.session_uid not in before]
    meshes = [item for item in new if item.type == "MESH" and len(item.data.polygons)]
    if not meshes:
        raise InputError(f'The scan "{shown}" can\'t be used: {_why(raised, lines)}')
    stray = sum(_STRAY in line for line in lines)
    if stray and source.kind == ".ply":  # Blender 5.2 replaces such indices by the first vertex
        faces = "one of its faces names a point" if stray == 1 else f"{stray:,} of its faces name points"
        raise mesh_files.FileProblem(f"{faces} that it does not hold; copy or export the scan again")
    found = _gathered(meshes, shown)
    found.stray_faces = stray
    return found, [*_complaints(lines), *([_last(raised)] if _last(raised) else [])]


_COMPLAINT = re.compile(r"\b(?:ERROR|WARNING|WARN|Error|Warning)\b(?: \(io\.\w+\): \S+ \w+)?[: |]+\s*(.+)")
_STRAY = "vertex index"
"""Part of the importers' message on a face with an invalid index: "Invalid vertex index 9 (valid range [0, 5))"."""
_OURS = ("cannot read from MTL file", _STRAY)
"""Messages that are not repeated: the material library is left out on purpose, and stray faces are reported separately."""


def _complaints(lines: Sequence[str]) -> list[str]:
    """The errors and warnings that an importer printed, without repetition."""
    found = (match[1].strip() for line in lines if (match := _COMPLAINT.search(line)) and not any(o in line for o in _OURS))
    return list(dict.fromkeys(words for words in found if words))


def _why(raised: str, lines: Sequence[str]) -> str:
    """The reason why there is no mesh, followed by what to do."""
    all_words = "\n".join([raised, *lines])
    unknown, lowered = re.search(r"(?i)extension (\w+) is not available", all_words), all_words.lower()
    if unknown:
        return f"it needs the glTF extension {unknown[1]}, which this Blender can't read; export the scan again without it"
    if "draco" in lowered:
        return "it is packed with Draco compression, which could not be unpacked here; export the scan again without it"
    if "meshopt" in lowered:
        return "it is packed with meshopt compression, which could not be unpacked here; export the scan again without it"
    words = _last(raised) or next(iter(_complaints(lines)), "")
    if not words:
        return "no faces were found in it; export it again as a mesh"
    return f"Blender's importer says: {words}; export it again as a mesh"


def _last(raised: str) -> str:
    """The last line of a report that is not part of a traceback, shortened to a sentence."""
    own = (line for line in raised.splitlines() if not line.startswith((" ", "Python:", "Location")))
    lines = [line.strip().removeprefix("Error: ").removesuffix(", see console for detail") for line in own if line.strip()]
    return _NAMED.sub(r"\1", lines[-1])[:160].rstrip(".") if lines else ""


_NAMED = re.compile(r"(?:\w+ Import: )?Cannot import file '.*': '(.*)'")
"""A report that repeats the file's path, which may be that of a copy."""


def _call(source: Readable) -> None:
    name = str(source.path)
    if source.kind == ".obj":
        bpy.ops.wm.obj_import(filepath=name, use_split_objects=False, use_split_groups=False, validate_meshes=True)
    elif source.kind == ".ply":
        bpy.ops.wm.ply_import(filepath=name, import_attributes=False)
    elif source.kind == ".stl":
        bpy.ops.wm.stl_import(filepath=name)
    elif source.kind in (".glb", ".gltf"):
        bpy.ops.import_scene.gltf(  # normals are not kept; the importer's own shape of a bone would be a mesh of the scan's
            filepath=name, import_pack_images=True, import_shading="SMOOTH", disable_bone_shape=True
        )
    elif source.kind == ".fbx":
        bpy.ops.wm.fbx_import(filepath=name, use_anim=False)
    else:
        _usd(name, materials=source.materials)


def _usd(name: str, *, materials: bool) -> None:
    if not hasattr(bpy.ops.wm, "usd_import"):
        raise RuntimeError("This build of Blender has no USD")
    bpy.ops.wm.usd_import(
        filepath=name, import_cameras=False, import_lights=False, import_curves=False, import_volumes=False,
        set_frame_range=False, import_textures_mode="IMPORT_PACK", create_world_material=False, import_materials=materials,
    )  # fmt: skip


def _gathered(objects: list[bpy.types.Object], shown: str) -> Imported:
    """The triangles of all mesh objects in world space, with one common list of materials."""
    bpy.context.view_layer.update()
    materials: list[bpy.types.Material | None] = []
    meshes, reflected = [], 0
    for item in sorted(objects, key=lambda entry: entry.name):
        world = np.array(item.matrix_world, float)
        item.parent = None
        item.matrix_basis = np.eye(4).tolist()
        mesh = read_mesh(item)
        placed = mesh.vertices
        if not np.array_equal(world, np.eye(4)):
            placed = _placed(mesh.vertices, world)
        faces, uv = mesh.faces, _laid_out(item, mesh)
        mirrored = np.linalg.det(world[:3, :3]) < 0
        if mirrored:  # a mirrored part would face inwards
            faces, uv = faces[:, ::-1], None if uv is None else uv[:, ::-1]
        slots = [slot.material for slot in item.material_slots] or [None]
        numbers = []
        for material in slots:
            if material not in materials:
                materials.append(material)
            numbers.append(materials.index(material))
        colours = {COLOUR: next(iter(mesh.colours.values()))} if mesh.colours else {}
        own = np.array(numbers, np.int32)[np.minimum(mesh.material, len(numbers) - 1)]
        meshes.append(replace(mesh, vertices=placed, faces=faces, uv=uv, material=own, colours=colours, face_marks={}))
        reflected += bool(mirrored)
    alone = len(objects) == 1 and is_bare(objects[0]) and not mirrored
    block = objects[0].data if alone else None
    return Imported(
        joined(meshes), materials, parts=len(meshes), reflected=reflected, block=block, faces_of_block=meshes[0].faces
    )


def _laid_out(item: bpy.types.Object, mesh: TriangleMesh) -> Floats | None:
    """The UVs of an object's triangles (n, 3, 2), of each slot as its own picture lies."""
    layouts = [layout_of(slot.material) for slot in item.material_slots]
    if mesh.uv is None or all(layout.usual for layout in layouts):
        return mesh.uv
    uv = mesh.uv.copy()
    for number, layout in enumerate(layouts):
        own = mesh.material == number if len(layouts) > 1 else np.ones(len(uv), bool)
        source = read_uv(item, layout.layer) if layout.layer in item.data.uv_layers else mesh.uv
        uv[own] = layout.of(source[own])
    return uv


def _placed(points: Floats, world: Floats) -> Floats:
    """Points (n, 3) transformed by a matrix (4, 4), by its non-zero elements, since importers' matrices mostly swap axes."""
    moved = np.zeros_like(points, np.float32)
    with np.errstate(invalid="ignore", over="ignore"):
        for axis in range(3):
            column = np.full(len(points), world[axis, 3])
            for other in np.flatnonzero(world[axis, :3]):
                column += world[axis, other] * points[:, other].astype(float)
            moved[:, axis] = column
    return moved


FARTHEST_UV = 1e6
"""UVs beyond this are invalid: no texture repeats a million times."""


def _sound(mesh: TriangleMesh) -> tuple[TriangleMesh, int, int]:
    """The mesh without vertices that are not finite or beyond FAR_AWAY, with valid UVs and colours.

    Also returns the number of vertices dropped and of UVs set to 0.
    """
    vertices = mesh.vertices
    good, dropped = np.ones(len(vertices), bool), 0
    if not _within(vertices, FAR_AWAY):
        good = np.isfinite(vertices).all(axis=1) & (np.abs(np.nan_to_num(vertices)) < FAR_AWAY).all(axis=1)
        dropped = int((~good).sum())
    used = np.zeros(len(vertices), bool)
    used[mesh.faces] = True
    if dropped or not used.all():
        mesh = submesh(mesh, good[mesh.faces].all(axis=1))
    uv, repaired = mesh.uv, 0
    if uv is not None and not _within(uv, FARTHEST_UV):
        bad = ~(np.abs(uv) <= FARTHEST_UV)
        uv, repaired = np.where(bad, np.float32(0.0), uv), int(bad.any(axis=-1).sum())
    return replace(mesh, uv=uv, colours=_telling(mesh.colours)), dropped, repaired


def _within(values: Floats, far: float) -> bool:
    """Whether all values are finite and below `far` in magnitude; `min` and `max` return NaN if there is one."""
    return not values.size or bool(-far < values.min() and values.max() < far)


def _telling(colours: dict[str, Floats]) -> dict[str, Floats]:
    """The colour attributes without those that have one colour throughout, linear, 0 to 1."""
    return {
        name: np.clip(_to_one(np.nan_to_num(values)), 0.0, 1.0)
        for name, values in colours.items()
        if len(values) and np.ptp(np.nan_to_num(values[:, :3]), axis=0).max() > 1e-3
    }


BRIGHTEST = 4.0
"""A vertex colour beyond this is no light, but a number of 8 or 16 bits that was written as it is (a guess)."""
MOST_8_BITS, MOST_16_BITS = 255.0, 65535.0
"""The largest whole numbers of 8 and 16 bits."""


def _to_one(values: Floats) -> Floats:
    """Colours (n, 4), linear, where they were written from 0 to 255 or 65535, which importers take for 0 to 1."""
    peak = float(values[:, :3].max())
    if peak <= BRIGHTEST:
        return values
    written = values[:, :3] if peak <= MOST_8_BITS else encode(values[:, :3])  # of an OBJ, Blender has decoded them
    full = MOST_8_BITS if written.max() <= 1.01 * MOST_8_BITS else MOST_16_BITS
    return np.concatenate([decode(np.clip(written / full, 0.0, 1.0)), values[:, 3:]], axis=1).astype(values.dtype)
