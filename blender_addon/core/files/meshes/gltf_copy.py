"""How is a glTF file rewritten so that any importer reads it? Meshes are unpacked, unsafe pictures left out.

The rewritten description points to the bytes where they lie, in the file itself or beside it; only what was unpacked is written
again. KHR_draco_mesh_compression and EXT_meshopt_compression are Khronos' published extensions of glTF 2.0.
"""

from __future__ import annotations

import copy
import json
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any
from urllib.parse import quote

import numpy as np

from ...arrays import AnyArray, Ints, Pixels8
from .gltf import AGAIN, DRACO, MESHOPT, Gltf, is_embedded, view_bytes
from .gltf_check import KINDS, PARTS
from .gltf_pictures import GltfPicture
from .ply import FileProblem

DracoDecoder = Callable[[bytes], tuple[Ints, dict[int, AnyArray]]]
"""Draco's bytes to faces (m, 3) and, by the number an attribute has in them, its values (n, k). Raises ValueError."""
MeshoptDecoder = Callable[[bytes, int, int, str, str], bytes]
"""Packed bytes, count, stride, mode and filter, as the extension names them, to count * stride bytes. Raises ValueError."""


@dataclass
class _Copy:
    """The description being rewritten, and the bytes that are unpacked for it."""

    gltf: Gltf
    content: dict[str, Any]
    added: list[bytes] = field(default_factory=list)
    length: int = 0

    def view(self, data: bytes, **more: Any) -> int:
        """Append bytes, as a new buffer view; its number."""
        views = self.content.setdefault("bufferViews", [])
        views.append({"buffer": len(self.content["buffers"]) - 1, "byteOffset": self.length, "byteLength": len(data), **more})
        data += b"\0" * (-len(data) % 4)
        self.added.append(data)
        self.length += len(data)
        return len(views) - 1


def write_copy(
    gltf: Gltf,
    target: Path,
    pictures: Sequence[GltfPicture],
    *,
    draco: DracoDecoder | None = None,
    meshopt: MeshoptDecoder | None = None,
    drop_draco: bool = False,
) -> None:
    """Write `target` (.gltf, and a .bin beside it where anything was unpacked) for a file that has passed `check_gltf`.

    draco, meshopt: unpack what is packed so; without them it stays as it is. drop_draco: use the unpacked form that lies
    beside the packed one. Raises FileProblem where packed data are damaged.
    """
    work = _Copy(gltf, copy.deepcopy(gltf.content))
    _point_to_files(work, pictures)
    work.content.setdefault("buffers", []).append({"byteLength": 0})
    if meshopt is not None:
        _unpack_views(work, meshopt)
    if draco is not None:
        _unpack_meshes(work, draco)
    elif drop_draco:
        for mesh in work.content["meshes"]:
            for primitive in mesh["primitives"]:
                (primitive.get("extensions") or {}).pop(DRACO, None)
        _forget(work.content, (DRACO,))
    if work.length:
        beside = target.with_suffix(".bin")
        with beside.open("wb") as file:
            file.writelines(work.added)
        work.content["buffers"][-1] = {"byteLength": work.length, "uri": quote(beside.name)}
    else:
        work.content["buffers"].pop()
    target.write_bytes(json.dumps(work.content).encode())


def _point_to_files(work: _Copy, pictures: Sequence[GltfPicture]) -> None:
    """Make addresses absolute, name a GLB's data chunk as a range of the GLB, and drop pictures that are left out."""
    gltf, content = work.gltf, work.content
    for number, buffer in enumerate(content.get("buffers", [])):
        uri = buffer.get("uri")
        if uri is None and number == 0 and gltf.length:
            buffer |= {"uri": _whole(gltf.chunk), "byteLength": gltf.start + gltf.length}
            for view in content.get("bufferViews", []):
                for part in (view, *(own for name, own in (view.get("extensions") or {}).items() if name in MESHOPT)):
                    if part["buffer"] == 0:
                        part["byteOffset"] = part.get("byteOffset", 0) + gltf.start
        elif isinstance(uri, str) and not is_embedded(uri):
            file = gltf.follow(uri).path
            buffer["uri"] = _whole(file) if file is not None else uri
    for image, picture in zip(content.get("images", []), pictures, strict=True):
        if picture.file is not None:
            image["uri"] = _whole(picture.file)
        elif isinstance(image.get("uri"), str) and not is_embedded(image["uri"]):
            image.pop("uri")
    out = {number for number, picture in enumerate(pictures) if picture.refused}
    for texture in content.get("textures", []):
        for part in (texture, *(own for own in (texture.get("extensions") or {}).values() if isinstance(own, dict))):
            if part.get("source") in out:
                del part["source"]


def _whole(path: Path) -> str:
    return quote(path.resolve().as_posix())


def _unpack_views(work: _Copy, decode: MeshoptDecoder) -> None:
    for number, view in enumerate(work.content.get("bufferViews", [])[:]):
        name = next((name for name in MESHOPT if name in (view.get("extensions") or {})), None)
        if name is None:
            continue
        own = work.gltf.rows("bufferViews")[number]["extensions"][name]
        count, stride, mode = own.get("count"), own.get("byteStride"), own.get("mode")
        if not _fits(count, stride, mode, view["byteLength"]):
            raise FileProblem(f"its packed data are damaged (bufferViews[{number}]); {AGAIN}")
        try:
            data = decode(view_bytes(work.gltf, own).tobytes(), count, stride, mode, own.get("filter", "NONE"))
        except ValueError:
            raise FileProblem(f"its packed data are damaged (bufferViews[{number}]); {AGAIN}") from None
        more = {"byteStride": view["byteStride"]} if "byteStride" in view else {}
        work.view(data, **more)
        work.content["bufferViews"][number] = work.content["bufferViews"].pop()
    _forget(work.content, MESHOPT)


def _fits(count: Any, stride: Any, mode: Any, length: int) -> bool:
    """Whether the packed rows unpack to exactly what the view announces (the extension's own rules on strides)."""
    if not all(isinstance(value, int) and not isinstance(value, bool) and value > 0 for value in (count, stride)):
        return False
    if mode == "ATTRIBUTES":
        return count * stride == length and stride % 4 == 0 and stride <= 256
    return count * stride == length and stride in (2, 4) and (mode == "INDICES" or (mode == "TRIANGLES" and count % 3 == 0))


def _unpack_meshes(work: _Copy, decode: DracoDecoder) -> None:
    for place, mesh in enumerate(work.content["meshes"]):
        for number, primitive in enumerate(mesh["primitives"]):
            own = (primitive.get("extensions") or {}).pop(DRACO, None)
            if own is not None:
                _unpack_primitive(work, primitive, own, f"meshes[{place}].primitives[{number}]", decode)
    _forget(work.content, (DRACO,))


def _unpack_primitive(work: _Copy, primitive: dict[str, Any], own: dict[str, Any], words: str, decode: DracoDecoder) -> None:
    damaged = f"its packed mesh is damaged ({words}); {AGAIN}"
    accessors = work.content["accessors"]
    data = view_bytes(work.gltf, work.gltf.rows("bufferViews")[own["bufferView"]]).tobytes()
    try:
        faces, values = decode(data)
    except ValueError:
        raise FileProblem(damaged) from None
    vertices = {len(table) for table in values.values()}
    if not len(faces) or len(vertices) != 1 or int(faces.max()) >= min(vertices) or int(faces.min()) < 0:
        raise FileProblem(damaged)
    primitive["mode"] = 4
    corners = np.ascontiguousarray(faces, "<u4")
    primitive["indices"] = _accessor(work, corners.tobytes(), 5125, "SCALAR", corners.size)
    for name, identity in own["attributes"].items():
        place = primitive["attributes"].get(name)
        if identity not in values or place is None:
            raise FileProblem(damaged)
        table, old = np.asarray(values[identity]), accessors[place]
        if table.ndim != 2 or table.shape[1] != PARTS[old["type"]]:
            raise FileProblem(damaged)
        rows = _rows(table.astype(KINDS[old["componentType"]]))
        number = _accessor(work, rows.tobytes(), old["componentType"], old["type"], len(table), stride=rows.shape[1])
        accessors[number] |= {key: old[key] for key in ("min", "max", "normalized") if key in old}
        primitive["attributes"][name] = number
    count = min(vertices)  # what was not packed has as many rows as the file says, which need not fit what was
    primitive["attributes"] = {name: at for name, at in primitive["attributes"].items() if accessors[at]["count"] == count}


def _rows(table: AnyArray) -> Pixels8:
    """(n, bytes) of a table, each row filled up to a multiple of four bytes, as the format demands of vertex data."""
    data = np.ascontiguousarray(table).view(np.uint8).reshape(len(table), -1)
    return np.pad(data, ((0, 0), (0, -data.shape[1] % 4)))


def _accessor(work: _Copy, data: bytes, component: int, kind: str, count: int, *, stride: int | None = None) -> int:
    view = work.view(data, **({} if stride is None else {"byteStride": stride}))
    work.content["accessors"].append({"bufferView": view, "componentType": component, "count": count, "type": kind})
    return len(work.content["accessors"]) - 1


def _forget(content: dict[str, Any], names: Sequence[str]) -> None:
    for key in ("extensionsUsed", "extensionsRequired"):
        if key in content:
            content[key] = [name for name in content[key] if name not in names]
            if not content[key]:
                del content[key]
