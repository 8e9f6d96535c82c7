"""Is a mesh file complete and valid before Blender reads it? Headers, lengths, values that are not numbers, its .mtl.

Blender's importers silently turn `nan` into 0 and may read only part of a truncated file, so the bytes are checked first. Text
is streamed in blocks; a block that holds neither 'nan' nor 'inf' costs one search.
"""

from __future__ import annotations

import re
import stat
import struct
from collections.abc import Callable, Collection
from dataclasses import field
from pathlib import Path

import numpy as np

from ... import memory
from ...records import record
from ..no_mesh import refuse_no_mesh
from ..plain_files import plain_file, status
from ..references import Reference
from .fbx_arrays import check_arrays
from .file_coordinates import (
    FAR,
    Coordinates,
    Origin,
    count_bad,
    far_origin,
    first_points,
    glb_floats,
    moved_text,
    patched,
    ply_floats,
    points_of_text,
    refuse_commas,
    stl_floats,
    text_points,
)
from .gltf import DRACO, Gltf, read_gltf
from .gltf_check import check_gltf, lacks_without, uses_meshopt
from .ply import PLY_BYTES, FileProblem, PlyHeader, ply_header
from .ply_rows import read_in_part
from .text_lines import NO_NUMBER, bad_lines, blocks, is_utf8
from .usd_names import refused_assets

FORMATS = (".obj", ".ply", ".stl", ".glb", ".gltf", ".fbx", ".usd", ".usda", ".usdc", ".usdz")
_MARKS = (
    (b"glTF", ".glb"), (b"ply\n", ".ply"), (b"ply\r", ".ply"), (b"Kaydara FBX Binary", ".fbx"), (b"; FBX", ".fbx"),
    (b"PXR-USDC", ".usdc"), (b"#usda", ".usda"),
)  # fmt: skip

INSTEAD = {
    ".off": "convert it to PLY or OBJ first (most mesh programs can)",
    ".vtp": "save it as PLY or OBJ from the program that wrote it",
    ".vtk": "save it as PLY or OBJ from the program that wrote it",
    **dict.fromkeys((".zip", ".rar", ".7z", ".gz"), "unpack it and give the mesh file inside"),
    ".3mf": "save it as OBJ, PLY or GLB",
    ".dae": "save it as OBJ, GLB or FBX",
    ".x3d": "save it as OBJ, PLY or GLB",
    ".wrl": "save it as OBJ, PLY or GLB",
    ".xyz": "it holds points without faces; make a mesh of them first",
    ".pts": "it holds points without faces; make a mesh of them first",
    ".las": "it holds points without faces; make a mesh of them first",
    ".e57": "it holds points without faces; make a mesh of them first",
    ".blend": "open it, and export the scan as GLB or OBJ",
    ".mtl": "give the .obj file beside it",
    **dict.fromkeys((".jpg", ".jpeg", ".png"), "give the mesh, not its texture"),
}


@record
class Checked:
    """What the check of a mesh file found.

    bad_vertices, bad_others: how many vertices, and how many normals or UVs, hold a value that is not a number. in_metres: the
    format says metres. read_in_part: a PLY of which Blender would leave something out. recode: a text that importers read only
    from a rewritten copy. library_elsewhere: an OBJ whose material library lies in another folder. origin: the centre of a scan
    that is too far from zero for 32-bit numbers. gltf: the description of a glTF file. refused: files that a USD names and that
    must not be read. triangles: about how many there are; 0 where only reading it would show.
    """

    bad_vertices: int = 0
    bad_others: int = 0
    in_metres: bool = False
    recode: bool = False
    library_elsewhere: bool = False
    gltf: Gltf | None = field(default=None, compare=False)
    refused: tuple[Reference, ...] = ()
    read_in_part: bool = False
    origin: Origin | None = None
    triangles: int = field(default=0, compare=False)


def check_file(path: Path, *, unpacks: Collection[str] = (), allowed: Collection[Path] = ()) -> Checked:
    """Check a mesh file before it is imported. Raises FileProblem.

    unpacks: which of 'draco' and 'meshopt' the importer can unpack. allowed: files outside the scan's own
    folder that it may bring in, resolved.
    """
    size = _length(path)
    try:
        kind = path_kind(path)
        if not kind:
            suffix = path.suffix.lower()
            what = INSTEAD.get(suffix, "save the scan as OBJ, PLY, STL, GLB, glTF, FBX or USD")
            raise FileProblem(f'files of the kind "{suffix or path.name}" can\'t be read; {what}')
        if not size:
            raise FileProblem("it is empty (0 bytes); export the scan again")
        refuse_no_mesh(path, kind)
        if kind in (".obj", ".ply", ".stl"):
            refuse_commas(path)
        checked = _CHECKS[kind](path, size, frozenset(allowed))
    except OSError as error:
        raise FileProblem(f"it can't be read ({error.strerror or error}); check its permissions") from None
    if checked.gltf is not None:
        _refuse_packed(checked.gltf, unpacks)
    return checked


def _length(path: Path) -> int:
    """Bytes of a plain file. Raises FileProblem; for a folder the message names a mesh file in it."""
    found = status(path)
    if stat.S_ISDIR(found.st_mode):
        try:
            names = sorted(each.name for each in path.iterdir() if each.suffix.lower() in FORMATS)
        except OSError:
            names = []
        hint = f', for example "{names[0]}"' if names else ""
        raise FileProblem(f"it is a folder; give the mesh file in it{hint}")
    return plain_file(path).st_size


def path_kind(path: Path) -> str:
    """The format of a mesh file as its usual suffix, by its name or, where that is not enough, by its bytes; else ''."""
    suffix = path.suffix.lower()
    if suffix in FORMATS:
        return suffix
    if suffix in INSTEAD:
        return ""
    with path.open("rb") as file:
        return sniffed(file.read(4096), path.stat().st_size)


def sniffed(start: bytes, size: int) -> str:
    """The format that a file's first bytes show, as a suffix, or ''. size: bytes of the whole file."""
    for mark, kind in _MARKS:
        if start.startswith(mark):
            return kind
    if size >= 84 and len(start) >= 84 and 84 + 50 * struct.unpack_from("<I", start, 80)[0] == size:
        return ".stl"
    text = start.lstrip(b"\xef\xbb\xbf \t\r\n")
    if b"\0" in start:
        return ""
    if text.startswith(b"{") and b'"asset"' in start:
        return ".gltf"
    if text[:6].lower() in (b"solid ", b"solid\n") and b"facet" in text:
        return ".stl"
    return ".obj" if _OBJ_VERTEX.search(text) else ""


def _refuse_packed(gltf: Gltf, unpacks: Collection[str]) -> None:
    if "meshopt" not in unpacks and uses_meshopt(gltf):
        raise FileProblem(
            "its mesh is packed with meshopt compression (EXT_meshopt_compression), which this Blender can't read; "
            "export the scan again without it"
        )
    if "draco" not in unpacks and lacks_without(gltf, DRACO):
        raise FileProblem(
            "its mesh is packed with Draco compression (KHR_draco_mesh_compression), and this Blender lacks the library that "
            "unpacks it; export the scan again without it"
        )


# --- text ------------------------------------------------------------------------------------------------------------


_OBJ_VERTEX = re.compile(rb"(?m)^(?:\xef\xbb\xbf)?[ \t]*v[ \t]+[-+.\dnNiI]")
BOM = b"\xef\xbb\xbf"
FACE = np.uint8(ord("f"))
"""How a line of a face begins in an OBJ."""
_LIBRARY = re.compile(rb"(?mi)^[ \t]*mtllib\b[^\r\n]*")
_LIBRARY_ELSEWHERE = re.compile(rb"(?mi)^[ \t]*mtllib\b[^\r\n]*(?:\.\.|:|[ \t][/\\])")
_OBJ_FACE = re.compile(rb"(?m)^[ \t]*f(?:(?:[ \t]|\\\r?\n)+[^\s\\]+){3}")


def _check_obj(path: Path, size: int, allowed: frozenset[Path]) -> Checked:
    vertices, faces, bad, others, count = False, False, 0, 0, 0
    binary = recode = elsewhere = False
    origin: Origin | None = None
    for number, block in enumerate(blocks(path)):
        if not vertices and _OBJ_VERTEX.search(block):
            vertices, origin = True, far_origin(points_of_text(block))
        faces = faces or _holds_face(block)
        count += int(np.count_nonzero(np.frombuffer(block, np.uint8) == FACE))  # twice as fast as counting in bytes
        binary = binary or b"\0" in block
        recode = recode or (number == 0 and block.startswith(BOM)) or not is_utf8(block)
        if (b"b" in block or b"B" in block) and b"mtllib" in block.lower():
            elsewhere = elsewhere or b"\\\n" in block or b"\\\r" in block or bool(_LIBRARY_ELSEWHERE.search(block))
        for _, _, is_vertex in bad_lines(block, is_obj=True):
            bad += is_vertex
            others += not is_vertex
    if binary:
        raise FileProblem("it is not a text OBJ (it holds zero bytes); export the scan again")
    if not vertices:
        raise FileProblem("it holds no vertices; export the scan again as a mesh")
    if not faces:
        raise FileProblem("it holds points but no faces; export the scan as a mesh, not as a point cloud")
    if memory.shortage(count):  # before it is refused, names with that letter are distinguished from faces
        count = sum(block.count(b"\nf ") for block in blocks(path))
    return Checked(bad, others, recode=recode, library_elsewhere=elsewhere, origin=origin, triangles=count)


def _holds_face(block: bytes) -> bool:
    """Whether there is a line of a face; it is looked for where it may be, as the lines of vertices before it are many."""
    first = block.find(b"f")
    return first >= 0 and bool(_OBJ_FACE.search(block, block.rfind(b"\n", 0, first) + 1))


def moved_to_zero(path: Path, target: Path, origin: Origin) -> None:
    """Write a copy of an OBJ or of an STL as text whose points are moved so that `origin` lies at zero."""
    with target.open("wb") as out:
        out.writelines(moved_text(block, origin) for block in blocks(path))


def without_bad_numbers(path: Path, target: Path) -> None:
    """Write a copy of a mesh file in which coordinates that are not numbers are set to FAR, so that they can be dropped later.

    In lines other than vertices (normals, UVs) such numbers become 0. A copy of an OBJ is UTF-8 and names no material library,
    that of an STL as text is in small letters, as its specification has them (3D Systems, 1989; from memory).
    """
    kind = path_kind(path)
    floats = _floats_of(path, kind)
    if floats is not None:
        patched(path, target, floats)
        return
    if kind == ".stl":
        with target.open("wb") as out:
            out.writelines(block.lower().removeprefix(BOM) for block in blocks(path))
        return
    is_obj = kind == ".obj"
    with target.open("wb") as out:
        for number, block in enumerate(blocks(path)):
            body = block.find(b"end_header") if number == 0 and not is_obj else 0
            out.write(block[:body])
            block, written = block[body:], 0
            if is_obj:
                block = _LIBRARY.sub(b"#", block.removeprefix(BOM) if number == 0 else block)
                block = block if is_utf8(block) else block.decode("latin-1").encode("utf-8")
            for start, end, is_vertex in bad_lines(block, is_obj=is_obj):
                out.write(block[written:start])
                out.write(NO_NUMBER.sub(FAR if is_vertex else b"0", block[start:end]))
                written = end
            out.write(block[written:])


# --- PLY -------------------------------------------------------------------------------------------------------------


def _check_ply(path: Path, size: int, allowed: frozenset[Path]) -> Checked:
    with path.open("rb") as file:
        header = ply_header(file.read(1 << 16))
    if header.count("vertex") <= 0:
        raise FileProblem("it holds no vertices; export the scan again as a mesh")
    if header.count("face") + header.count("tristrips") <= 0:
        raise FileProblem("it holds points but no faces; export the scan as a mesh, not as a point cloud")
    if header.format == "ascii":
        return _check_ascii_ply(path, header)
    least = 0
    for _, count, properties in header.elements:
        row = sum(PLY_BYTES.get(kind[0], 0) for kind in properties)  # a list takes at least its count
        least += max(count, 0) * row
        if _ == "face":
            item = next((PLY_BYTES.get(kind[1], 0) for kind in properties if len(kind) == 3), 0)
            least += 3 * item * count
    if size - header.length < least:
        raise FileProblem(
            f"it is cut short ({size - header.length} bytes of data, {least} announced); copy or export the scan again"
        )
    floats = ply_floats(header)
    far = any(place.kind.endswith("f8") and far_origin(first_points(path, place)) for place in floats)
    bad = count_bad(path, floats)
    return Checked(bad, read_in_part=far or read_in_part(header), triangles=header.count("face"))


def _check_ascii_ply(path: Path, header: PlyHeader) -> Checked:
    bad, lines, far = 0, 0, False
    for number, block in enumerate(blocks(path)):
        body = block[header.length :] if number == 0 else block
        far = far_origin(text_points(body, header)) is not None if number == 0 else far
        lines += body.count(b"\n") + (not body.endswith(b"\n"))
        bad += sum(1 for _ in bad_lines(body, is_obj=False))
    announced = sum(max(count, 0) for _, count, _ in header.elements)
    if lines < announced:
        raise FileProblem(f"it is cut short ({lines} lines of data, {announced} announced); copy or export the scan again")
    return Checked(bad, read_in_part=far or read_in_part(header), triangles=header.count("face"))


# --- binary formats ----------------------------------------------------------------------------------------------------


def _check_stl(path: Path, size: int, allowed: frozenset[Path]) -> Checked:
    with path.open("rb") as file:
        start = file.read(min(size, 4096))
    if size >= 84:
        count = struct.unpack_from("<I", start, 80)[0]
        if 84 + 50 * count == size:
            if not count:
                raise FileProblem("it holds no faces; export the scan again")
            return Checked(count_bad(path, stl_floats(count)), triangles=count)
    if start.removeprefix(BOM).lstrip()[:5].lower() == b"solid" and b"\0" not in start:
        return _check_ascii_stl(path)
    if size < 84:
        raise FileProblem("it is too short for an STL; export the scan again")
    raise FileProblem(
        f"its length does not fit the {count} triangles it announces (cut short, or no STL); copy or export the scan again"
    )


def _check_ascii_stl(path: Path) -> Checked:
    """Facets of three corners each, and an end: a text that is cut short lacks both."""
    bad = faces = corners = begun = ended = 0
    loud, origin = False, None
    for number, block in enumerate(blocks(path)):
        loud = loud or b"VERTEX" in block or b"Vertex" in block or (number == 0 and block.startswith(BOM))
        origin = far_origin(points_of_text(block)) if number == 0 else origin
        faces += len(re.findall(rb"(?i)\bendfacet\b", block))
        begun += len(re.findall(rb"(?i)\bfacet\b", block))
        corners += len(re.findall(rb"(?i)\bvertex\b", block))
        ended += len(re.findall(rb"(?mi)^[ \t]*endsolid\b", block))
        bad += sum(1 for start, end, _ in bad_lines(block, is_obj=False) if b"vertex" in block[start:end].lower())
    if not ended or begun != faces:
        raise FileProblem(f"it is cut short (it has no end behind its {faces} triangles); copy or export the scan again")
    if not faces:
        raise FileProblem("it holds no faces; export the scan again")
    if corners != 3 * faces:
        raise FileProblem(f"its {faces} triangles have {corners} corners in all; export the scan again")
    if bad:
        raise FileProblem(f"{bad} of its corners are not numbers; export the scan again, best as OBJ or PLY")
    return Checked(recode=loud, origin=origin, triangles=faces)


def _check_gltf(path: Path, size: int, allowed: frozenset[Path]) -> Checked:
    with path.open("rb") as file:
        start = file.read(4)
    if path_kind(path) == ".glb" and start != b"glTF":
        raise FileProblem("it does not begin as a GLB does; export the scan again")
    gltf = read_gltf(path, allowed)
    triangles = check_gltf(gltf)
    bad = count_bad(path, glb_floats(gltf.content, gltf.start)) if gltf.length else 0
    return Checked(bad, in_metres=True, gltf=gltf, triangles=triangles)


def _check_fbx(path: Path, size: int, allowed: frozenset[Path]) -> Checked:
    with path.open("rb") as file:
        start = file.read(64)
    if not start.startswith(b"Kaydara FBX Binary") and not start.lstrip().startswith(b";"):
        raise FileProblem("it does not begin as an FBX does; export the scan again")
    if start.startswith(b"Kaydara"):
        check_arrays(path)
    return Checked()


def _check_usd(path: Path, size: int, allowed: frozenset[Path]) -> Checked:
    with path.open("rb") as file:
        start = file.read(8)
    if not start.startswith((b"PXR-USDC", b"#usda", b"PK\x03\x04")):
        raise FileProblem("it does not begin as a USD file does; export the scan again")
    return Checked(refused=tuple(refused_assets(path, allowed)))


_CHECKS: dict[str, Callable[[Path, int, frozenset[Path]], Checked]] = {
    ".obj": _check_obj, ".ply": _check_ply, ".stl": _check_stl, ".glb": _check_gltf, ".gltf": _check_gltf,
    ".fbx": _check_fbx, ".usd": _check_usd, ".usda": _check_usd, ".usdc": _check_usd, ".usdz": _check_usd,
}  # fmt: skip


def _floats_of(path: Path, kind: str) -> list[Coordinates] | None:
    """Where a binary file's coordinates lie; None for text."""
    with path.open("rb") as file:
        start = file.read(1 << 16)
    if kind == ".ply":
        header = ply_header(start)
        return None if header.format == "ascii" else ply_floats(header)
    if kind == ".stl" and b"\0" in start:
        return stl_floats(struct.unpack_from("<I", start, 80)[0])
    if kind == ".glb":
        gltf = read_gltf(path)
        return glb_floats(gltf.content, gltf.start)
    return None
