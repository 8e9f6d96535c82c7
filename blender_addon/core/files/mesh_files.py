"""Is a mesh file whole and sane before Blender reads it? Headers, lengths, numbers that are none; what its .mtl names.

Blender's importers turn `nan` into 0 without a word and may read a cut file half, so the bytes are looked at first. Text is
streamed in blocks; a block without the letters of 'nan' or 'inf' costs one search.
"""

from __future__ import annotations

import json
import re
import struct
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path
from urllib.parse import unquote

from .file_coordinates import FAR, Coordinates, count_bad, glb_floats, patched, ply_floats, stl_floats
from .ply import PLY_BYTES, FileProblem, PlyHeader, ply_header

FORMATS = (".obj", ".ply", ".stl", ".glb", ".gltf", ".fbx", ".usd", ".usda", ".usdc", ".usdz")
BLOCK = 1 << 24

INSTEAD = {
    ".off": "convert it to PLY or OBJ first (most mesh programs can)",
    ".vtp": "save it as PLY or OBJ from the program that wrote it",
    ".vtk": "save it as PLY or OBJ from the program that wrote it",
    ".zip": "unpack it and give the mesh file inside",
    ".rar": "unpack it and give the mesh file inside",
    ".7z": "unpack it and give the mesh file inside",
    ".gz": "unpack it and give the mesh file inside",
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
    ".jpg": "give the mesh, not its texture",
    ".jpeg": "give the mesh, not its texture",
    ".png": "give the mesh, not its texture",
}


@dataclass(frozen=True)
class Checked:
    """What a look at the file told: how many coordinates are no numbers (text formats), whether the format says metres."""

    bad_vertices: int = 0
    bad_others: int = 0
    in_metres: bool = False
    needs_meshopt: bool = False


def check_file(path: Path, *, meshopt: bool = False) -> Checked:
    """Look at a mesh file before it is imported; `meshopt`: the importer reads that compression. Raises FileProblem."""
    if not path.exists():
        raise FileProblem("there is no such file; check the path")
    if path.is_dir():
        found = sorted(p.name for p in path.iterdir() if p.suffix.lower() in FORMATS)
        hint = f', for example "{found[0]}"' if found else ""
        raise FileProblem(f"it is a folder; give the mesh file in it{hint}")
    suffix = path.suffix.lower()
    if suffix not in FORMATS:
        what = INSTEAD.get(suffix, "save the scan as OBJ, PLY, STL, GLB, glTF, FBX or USD")
        raise FileProblem(f'files of the kind "{suffix or path.name}" can\'t be read; {what}')
    try:
        size = path.stat().st_size
        if not size:
            raise FileProblem("it is empty (0 bytes); export the scan again")
        checked = _CHECKS.get(suffix, _nothing)(path, size)
    except OSError as error:
        raise FileProblem(f"it can't be read ({error.strerror or error}); check its permissions") from None
    if checked.needs_meshopt and not meshopt:
        raise FileProblem(
            "its mesh is packed with meshopt compression, which this Blender can't read; "
            "export the scan again without it (Draco is fine)"
        )
    return checked


def _nothing(path: Path, size: int) -> Checked:
    return Checked()


# --- text ------------------------------------------------------------------------------------------------------------


def blocks(path: Path) -> Iterator[bytes]:
    """The file in blocks of whole lines, so that nothing is larger in memory than a block."""
    rest = b""
    with path.open("rb") as file:
        while block := file.read(BLOCK):
            block = rest + block
            cut = block.rfind(b"\n") + 1
            if not cut:
                rest = block
                continue
            rest = block[cut:]
            yield block[:cut]
    if rest:
        yield rest


_SUSPECT = re.compile(rb"(?i)nan|inf|1\.#")
_NO_NUMBER = re.compile(rb"(?i)(?<![\w.])[+-]?(?:nan|inf|1\.#)[\w()#.]*")
_OBJ_VERTEX = re.compile(rb"(?m)^[ \t]*v[ \t]+[-+.\dnNiI]")
_OBJ_FACE = re.compile(rb"(?m)^[ \t]*f[ \t]+\S+[ \t]+\S+[ \t]+\S")


def bad_lines(block: bytes, *, is_obj: bool) -> Iterator[tuple[int, int, bool]]:
    """The lines of a block that hold what is no number: start, end, whether the line is a vertex.

    In an OBJ only lines of coordinates (v, vt, vn) count, since names may hold such letters; in a PLY's body all do.
    """
    low = block.lower()
    if b"nan" not in low and b"inf" not in low and b"1.#" not in low:
        return
    done = -1
    for match in _SUSPECT.finditer(block):
        if match.start() < done:
            continue
        start = block.rfind(b"\n", 0, match.start()) + 1
        end = block.find(b"\n", match.end())
        done = end = len(block) if end < 0 else end
        line = block[start:end]
        kind = line.split(None, 1)[0].lower() if is_obj else b"v"
        if kind in (b"v", b"vt", b"vn") and _NO_NUMBER.search(line):
            yield start, end, kind == b"v"


def _check_obj(path: Path, size: int) -> Checked:
    vertices, faces, bad, others = False, False, 0, 0
    binary = False
    for block in blocks(path):
        vertices = vertices or bool(_OBJ_VERTEX.search(block))
        faces = faces or bool(_OBJ_FACE.search(block))
        binary = binary or b"\0" in block
        for _, _, is_vertex in bad_lines(block, is_obj=True):
            bad += is_vertex
            others += not is_vertex
    if binary:
        raise FileProblem("it is not a text OBJ (it holds zero bytes); export the scan again")
    if not vertices:
        raise FileProblem("it holds no vertices; export the scan again as a mesh")
    if not faces:
        raise FileProblem("it holds points but no faces; export the scan as a mesh, not as a point cloud")
    return Checked(bad, others)


def without_bad_numbers(path: Path, target: Path) -> None:
    """Write a copy of a mesh file in which coordinates that are no numbers stand FAR away, so that they can be dropped later.

    In lines other than vertices (normals, UVs) such numbers become 0.
    """
    floats = _floats_of(path)
    if floats is not None:
        patched(path, target, floats)
        return
    is_obj = path.suffix.lower() == ".obj"
    with target.open("wb") as out:
        for number, block in enumerate(blocks(path)):
            body = block.find(b"end_header") if number == 0 and not is_obj else 0
            out.write(block[:body])
            block, written = block[body:], 0
            for start, end, is_vertex in bad_lines(block, is_obj=is_obj):
                out.write(block[written:start])
                out.write(_NO_NUMBER.sub(FAR if is_vertex else b"0", block[start:end]))
                written = end
            out.write(block[written:])


# --- PLY -------------------------------------------------------------------------------------------------------------


def _check_ply(path: Path, size: int) -> Checked:
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
        row = sum(PLY_BYTES.get(kind[0], 0) for kind in properties)  # of a list at least its count
        least += max(count, 0) * row
        if _ == "face":
            item = next((PLY_BYTES.get(kind[1], 0) for kind in properties if len(kind) == 3), 0)
            least += 3 * item * count
    if size - header.length < least:
        raise FileProblem(
            f"it is cut short ({size - header.length} bytes of data, {least} announced); copy or export the scan again"
        )
    return Checked(count_bad(path, ply_floats(header)))


def _check_ascii_ply(path: Path, header: PlyHeader) -> Checked:
    bad, lines = 0, 0
    for number, block in enumerate(blocks(path)):
        body = block[header.length :] if number == 0 else block
        lines += body.count(b"\n") + (not body.endswith(b"\n"))
        bad += sum(1 for _ in bad_lines(body, is_obj=False))
    announced = sum(max(count, 0) for _, count, _ in header.elements)
    if lines < announced:
        raise FileProblem(f"it is cut short ({lines} lines of data, {announced} announced); copy or export the scan again")
    return Checked(bad)


# --- binary formats ----------------------------------------------------------------------------------------------------


def _check_stl(path: Path, size: int) -> Checked:
    with path.open("rb") as file:
        start = file.read(min(size, 4096))
    if size >= 84:
        count = struct.unpack_from("<I", start, 80)[0]
        if 84 + 50 * count == size:
            if not count:
                raise FileProblem("it holds no faces; export the scan again")
            return Checked(count_bad(path, stl_floats(count)))
    if start.lstrip()[:5].lower() == b"solid" and b"\0" not in start:
        bad = faces = 0
        for block in blocks(path):
            faces += len(re.findall(rb"(?i)\bendfacet\b", block))
            bad += sum(1 for start, end, _ in bad_lines(block, is_obj=False) if b"vertex" in block[start:end].lower())
        if not faces:
            raise FileProblem("it holds no faces; export the scan again")
        if bad:
            raise FileProblem(f"{bad} of its corners are not numbers; export the scan again, best as OBJ or PLY")
        return Checked()
    if size < 84:
        raise FileProblem("it is too short for an STL; export the scan again")
    raise FileProblem(
        f"its length does not fit the {count} triangles it announces (cut short, or no STL); copy or export the scan again"
    )


def _check_glb(path: Path, size: int) -> Checked:
    """The 12-byte header and the chunks of a binary glTF (glTF 2.0 specification, section 4.4)."""
    with path.open("rb") as file:
        start = file.read(20)
        if start[:4] != b"glTF":
            raise FileProblem("it does not begin as a GLB does; export the scan again")
        if len(start) < 20:
            raise FileProblem("it is cut short; copy or export the scan again")
        version, length, json_length, json_kind = struct.unpack_from("<IIII", start, 4)
        if version != 2:
            raise FileProblem(f"it is glTF {version}, only 2 can be read; export the scan again")
        if length > size:
            raise FileProblem(f"it is cut short ({size} of {length} bytes); copy or export the scan again")
        if json_kind != 0x4E4F534A or json_length > size - 20:
            raise FileProblem("its chunks are damaged; copy or export the scan again")
        text = file.read(json_length)
        second = file.read(8)
    binary = 0
    if len(second) == 8:
        binary = struct.unpack_from("<I", second)[0]
        if 20 + json_length + 8 + binary > size:
            raise FileProblem("its data chunk is cut short; copy or export the scan again")
    content = _gltf(text)
    checked = _check_gltf_content(content, path.parent, binary)
    return replace(checked, bad_vertices=count_bad(path, glb_floats(content, 28 + json_length)))


def _check_gltf(path: Path, size: int) -> Checked:
    return _check_gltf_content(_gltf(path.read_bytes()), path.parent, 0)


def _gltf(text: bytes) -> dict:
    try:
        content = json.loads(text)
    except (ValueError, UnicodeDecodeError, RecursionError):
        raise FileProblem("its description is damaged (no valid JSON); copy or export the scan again") from None
    if not isinstance(content, dict):
        raise FileProblem("its description is damaged; copy or export the scan again")
    return content


def _check_gltf_content(content: dict, folder: Path, binary: int) -> Checked:
    required = content.get("extensionsRequired") or []
    meshopt = isinstance(required, list) and any("meshopt" in str(name).lower() for name in required)
    try:
        if not any(mesh["primitives"] for mesh in content.get("meshes", [])):
            raise FileProblem("it holds no mesh; export the scan again")
        for number, buffer in enumerate(content.get("buffers", [])):
            _check_buffer(buffer, folder, binary if number == 0 else 0)
        _check_accessors(content)
    except (TypeError, KeyError, AttributeError, IndexError):
        raise FileProblem("its description is damaged; copy or export the scan again") from None
    return Checked(in_metres=True, needs_meshopt=meshopt)


def _check_buffer(buffer: dict, folder: Path, binary: int) -> None:
    uri, length = buffer.get("uri"), buffer["byteLength"]
    if uri is None:
        if length > binary + 3:
            raise FileProblem(f"its data chunk is cut short ({binary} of {length} bytes); copy or export the scan again")
    elif not uri.startswith("data:"):
        beside = folder / unquote(uri)
        if not beside.is_file():
            raise FileProblem(f'the file "{uri}" that it needs is missing; put it beside it, or export as GLB')
        if beside.stat().st_size < length:
            raise FileProblem(f'the file "{uri}" that it needs is cut short; copy or export the scan again')


_PARTS = {"SCALAR": 1, "VEC2": 2, "VEC3": 3, "VEC4": 4, "MAT2": 4, "MAT3": 9, "MAT4": 16}
_SIZES = {5120: 1, 5121: 1, 5122: 2, 5123: 2, 5125: 4, 5126: 4}


def _check_accessors(content: dict) -> None:
    """Each accessor inside its buffer view, each view inside its buffer."""
    views = content.get("bufferViews", [])
    for view in views:
        buffer = content["buffers"][view["buffer"]]
        if view.get("byteOffset", 0) < 0 or view.get("byteOffset", 0) + view["byteLength"] > buffer["byteLength"]:
            raise FileProblem("its tables reach beyond its data; copy or export the scan again")
    for accessor in content.get("accessors", []):
        if "bufferView" not in accessor:
            continue
        view = views[accessor["bufferView"]]
        item = _PARTS[accessor["type"]] * _SIZES[accessor["componentType"]]
        stride = view.get("byteStride") or item
        needed = accessor.get("byteOffset", 0) + stride * (accessor["count"] - 1) + item
        if accessor["count"] < 1 or needed > view["byteLength"]:
            raise FileProblem("its tables reach beyond its data; copy or export the scan again")


def _check_fbx(path: Path, size: int) -> Checked:
    with path.open("rb") as file:
        start = file.read(64)
    if not start.startswith(b"Kaydara FBX Binary") and not start.lstrip().startswith(b";"):
        raise FileProblem("it does not begin as an FBX does; export the scan again")
    return Checked()


def _check_usd(path: Path, size: int) -> Checked:
    with path.open("rb") as file:
        start = file.read(8)
    if not start.startswith((b"PXR-USDC", b"#usda", b"PK\x03\x04")):
        raise FileProblem("it does not begin as a USD file does; export the scan again")
    return Checked()


_CHECKS = {
    ".obj": _check_obj, ".ply": _check_ply, ".stl": _check_stl, ".glb": _check_glb, ".gltf": _check_gltf,
    ".fbx": _check_fbx, ".usd": _check_usd, ".usda": _check_usd, ".usdc": _check_usd, ".usdz": _check_usd,
}  # fmt: skip


def _floats_of(path: Path) -> list[Coordinates] | None:
    """Where a binary file's coordinates lie; None for text."""
    suffix = path.suffix.lower()
    with path.open("rb") as file:
        start = file.read(1 << 16)
    if suffix == ".ply":
        header = ply_header(start)
        return None if header.format == "ascii" else ply_floats(header)
    if suffix == ".stl":
        return stl_floats(struct.unpack_from("<I", start, 80)[0])
    if suffix == ".glb":
        length = struct.unpack_from("<I", start, 12)[0]
        with path.open("rb") as file:
            file.seek(20)
            return glb_floats(_gltf(file.read(length)), 28 + length)
    return None
