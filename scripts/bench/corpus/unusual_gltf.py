"""glTF with parts that scans seldom have, and GLB whose chunks are others: `GLTF`."""

from __future__ import annotations

import base64
import io
import json
import struct
from collections.abc import Callable
from typing import Any

import numpy as np
from PIL import Image

from . import scans
from .cases import Case, of_scan, replaced

KIND = "unusual gltf"
Content = dict[str, Any]


def _glb(change: Callable[[Content, list[bytes]], Any]) -> Callable[[], Case]:
    """A GLB whose description is changed; what is appended to the list is data in a view of its own, from the fourth on."""

    def make() -> Case:
        content, data = scans._gltf_parts(scans.figure())
        more: list[bytes] = [scans.png(16, 16)]
        content["images"] = [{"bufferView": 3, "mimeType": "image/png"}]
        change(content, more)
        for view in more:
            data += bytes(-len(data) % 8)
            content["bufferViews"].append({"buffer": 0, "byteOffset": len(data), "byteLength": len(view)})
            data += view
        return of_scan(KIND, {"scan.glb": scans.glb(content, data)}, "scan.glb")

    return make


def _primitive(content: Content) -> Content:
    return content["meshes"][0]["primitives"][0]


def _accessor(content: Content, values: np.ndarray, kind: str, **more: Any) -> int:
    """A further accessor of the next view to be appended."""
    codes = {"u1": 5121, "i1": 5120, "u2": 5123, "i2": 5122, "u4": 5125, "f4": 5126}
    row = {
        "bufferView": more.pop("view"),
        "componentType": codes[values.dtype.str[1:]],
        "count": len(values),
        "type": kind,
        **more,
    }
    content["accessors"].append(row)
    return len(content["accessors"]) - 1


def _with(name: str, values: Callable[[], np.ndarray], kind: str, **more: Any) -> Callable[[Content, list[bytes]], None]:
    """A further attribute of the mesh."""

    def change(content: Content, data: list[bytes]) -> None:
        array = values()
        _primitive(content)["attributes"][name] = _accessor(content, array, kind, view=3 + len(data), **more)
        data.append(array.tobytes())

    return change


def _colours(dtype: str, width: int, full: float) -> Callable[[], np.ndarray]:
    count = len(scans.figure().points)
    ramp = np.linspace(0.01, 1, count * width).reshape(count, width)
    return lambda: (ramp * full if np.isfinite(full) else np.full_like(ramp, full)).astype(dtype)


def _morph(content: Content, data: list[bytes]) -> None:
    moved = (scans.figure().points * 0.1).astype("<f4")
    _primitive(content)["targets"] = [{"POSITION": _accessor(content, moved, "VEC3", view=4)}] * 3
    content["meshes"][0]["weights"] = [0.5, 1e30, -1]
    data.append(moved.tobytes())


def _skin(content: Content, data: list[bytes]) -> None:
    count = len(scans.figure().points)
    attributes = _primitive(content)["attributes"]
    attributes["JOINTS_0"] = _accessor(content, np.zeros((count, 4), "<u2"), "VEC4", view=4)
    attributes["WEIGHTS_0"] = _accessor(content, np.full((count, 4), 0.25, "<f4"), "VEC4", view=5)
    data += [bytes(8 * count), np.full((count, 4), 0.25, "<f4").tobytes()]
    content["nodes"] = [{"mesh": 0, "skin": 0}, {"name": "bone", "translation": [0, 50, 0], "children": [2]}, {"name": "tip"}]
    content["skins"] = [{"joints": [1, 2]}]
    content["scenes"] = [{"nodes": [0, 1]}]


def _moving(content: Content, data: list[bytes]) -> None:
    times, places = np.array([0, 1], "<f4"), np.array([[0, 0, 0], [0, 500, 0]], "<f4")
    sampler = {
        "input": _accessor(content, times, "SCALAR", view=4, min=[0], max=[1]),
        "output": _accessor(content, places, "VEC3", view=5),
    }
    content["animations"] = [
        {"samplers": [sampler], "channels": [{"sampler": 0, "target": {"node": 0, "path": "translation"}}]}
    ]
    data += [times.tobytes(), places.tobytes()]


def _whole_numbers(content: Content, data: list[bytes]) -> None:
    """KHR_mesh_quantization: positions and UVs as whole numbers."""
    shape = scans.figure()
    points = np.round(shape.points * 400).astype("<i2")
    padded = np.zeros((len(points), 4), "<i2")
    padded[:, :3] = points
    attributes = _primitive(content)["attributes"]
    attributes["POSITION"] = _accessor(content, padded, "VEC3", view=4, min=points.min(0).tolist(), max=points.max(0).tolist())
    attributes["TEXCOORD_0"] = _accessor(content, np.zeros((len(points), 2), "<u2"), "VEC2", view=5, normalized=True)
    data += [padded.tobytes(), (np.clip(shape.uv, 0, 1) * 65535).astype("<u2").tobytes()]
    content["extensionsUsed"] = content["extensionsRequired"] = ["KHR_mesh_quantization"]


def _many(nodes: int, *, meshes: int = 1) -> Callable[[Content, list[bytes]], None]:
    def change(content: Content, data: list[bytes]) -> None:
        content["meshes"] = content["meshes"] * meshes
        content["nodes"] = [{"mesh": number % meshes, "translation": [number * 0.1, 0, 0]} for number in range(nodes)]
        content["scenes"] = [{"nodes": list(range(nodes))}]

    return change


def _set(*path: Any, value: Any) -> Callable[[Content, list[bytes]], None]:
    def change(content: Content, data: list[bytes]) -> None:
        place: Any = content
        for key in path[:-1]:
            place = place[key]
        place[path[-1]] = value

    return change


def _mixed(content: Content, data: list[bytes]) -> None:
    """Triangles, lines, points, a strip, a fan and a mode that there is not, in one mesh."""
    first = _primitive(content)
    content["meshes"][0]["primitives"] = [first, *({**first, "mode": mode} for mode in (0, 1, 2, 3, 5, 6))]


def _two_scenes(content: Content, data: list[bytes]) -> None:
    content["nodes"] = [{"mesh": 0}, {"mesh": 0, "translation": [500, 0, 0]}]
    content["scenes"] = [{"nodes": [1]}, {"nodes": [0]}]
    content["scene"] = 1


def _lamps(content: Content, data: list[bytes]) -> None:
    content["cameras"] = [{"type": "perspective", "perspective": {"yfov": 0.5, "znear": 0.1}}]
    content["extensions"] = {"KHR_lights_punctual": {"lights": [{"type": "spot", "intensity": 1e9, "spot": {}}]}}
    content["extensionsUsed"] = ["KHR_lights_punctual"]
    content["nodes"] += [{"camera": 0}, {"extensions": {"KHR_lights_punctual": {"light": 0}}}]
    content["scenes"] = [{"nodes": [0, 1, 2]}]


def _instances(content: Content, data: list[bytes]) -> None:
    places = np.arange(300, dtype="<f4").reshape(100, 3)
    own = {"attributes": {"TRANSLATION": _accessor(content, places, "VEC3", view=4)}}
    content["nodes"][0]["extensions"] = {"EXT_mesh_gpu_instancing": own}
    content["extensionsUsed"] = ["EXT_mesh_gpu_instancing"]
    data.append(places.tobytes())


def _variants(content: Content, data: list[bytes]) -> None:
    content["extensions"] = {"KHR_materials_variants": {"variants": [{"name": "red"}, {"name": "blue"}]}}
    mappings = [{"material": 0, "variants": [0]}, {"material": 99, "variants": [1]}]
    _primitive(content)["extensions"] = {"KHR_materials_variants": {"mappings": mappings}}
    content["extensionsUsed"] = ["KHR_materials_variants"]


def _picture_of(kind: str, mime: str) -> Callable[[Content, list[bytes]], None]:
    """The picture in another format, under a name of its own or of another."""

    def change(content: Content, data: list[bytes]) -> None:
        out = io.BytesIO()
        Image.fromarray(np.random.default_rng(1).integers(0, 255, (16, 16, 3), np.uint8)).save(out, kind)
        data[0] = out.getvalue()
        content["images"][0]["mimeType"] = mime

    return change


def _extended(name: str) -> Callable[[Content, list[bytes]], None]:
    def change(content: Content, data: list[bytes]) -> None:
        content["textures"][0] = {"extensions": {name: {"source": 0}}}
        content["extensionsUsed"] = content["extensionsRequired"] = [name]

    return change


def _bytes(change: Callable[[bytes], bytes]) -> Callable[[], Case]:
    return lambda: of_scan(KIND, {"scan.glb": change(scans.scan("glb")["scan.glb"])}, "scan.glb")


def _chunk(data: bytes, kind: bytes) -> bytes:
    return struct.pack("<I4s", len(data), kind) + data


def _chunks(order: Callable[[bytes, bytes], bytes], *, version: int = 2, off: int = 0) -> Callable[[], Case]:
    """A GLB of its two chunks in another order, or among others."""

    def change(data: bytes) -> bytes:
        length = struct.unpack_from("<I", data, 12)[0]
        body = order(data[12 : 20 + length], data[20 + length :])
        return struct.pack("<4sII", b"glTF", version, 12 + len(body) + off) + body

    return _bytes(change)


def _text(change: Callable[[str], str | bytes]) -> Callable[[], Case]:
    """A glTF as text, changed."""

    def make() -> Case:
        files = scans.scan("gltf")
        text = change(files["scan.gltf"].decode())
        files["scan.gltf"] = text if isinstance(text, bytes) else text.encode()
        return of_scan(KIND, files, "scan.gltf")

    return make


GLTF: tuple[Callable[[], Case], ...] = (
    *(
        _glb(change)
        for change in (
            _morph,
            _skin,
            _moving,
            _mixed,
            _two_scenes,
            _lamps,
            _instances,
            _variants,
            _many(100),
            _many(300, meshes=300),
            _set("nodes", 0, "scale", value=[-1, 1, 1]),
            _set("nodes", 0, "scale", value=[1e-20, 1, 1]),
            _set("nodes", 0, "scale", value=[1e20, 1e20, 1e20]),
            _set("nodes", 0, "translation", value=[1e30, 0, 0]),
            _set("nodes", 0, "matrix", value=[1, 0, 0, 0, 0, -1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 1]),
            _set("nodes", 0, "matrix", value=[1e-3, 5, 0, 0, 0, 1, 0, 0, 0, 0, 1, 0, 0, 0, 0, 0]),
            _set("nodes", 0, "name", value="\u202e" + "x" * 5000),
            _set("nodes", 0, "name", value="../../escaped"),
            _set("materials", 0, "name", value="../../escaped"),
            _set("images", 0, "name", value="/etc/passwd"),
            _set("meshes", 0, "primitives", 0, "attributes", value={"TEXCOORD_0": 2}),
            _set("accessors", 1, "type", value="VEC4"),
            _set("accessors", 0, "componentType", value=5126),
            _set("accessors", 1, "bufferView", value=2),
            _set("accessors", 0, "count", value=179),
            _set("scenes", value=[]),
            _set("scenes", value=[{"nodes": []}]),
            _set("scenes", value=[{}]),
            _set("nodes", value=[]),
            _set("materials", value=[]),
            _set("materials", 0, "pbrMetallicRoughness", "baseColorFactor", value=[9, -9, "x", None]),
            _set("materials", 0, "alphaMode", value="MASK"),
            _set("materials", 0, "extensions", value={"KHR_materials_unlit": {}}),
            _set("materials", 0, "emissiveTexture", value={"index": 0, "texCoord": 5}),
            _set("materials", 0, "normalTexture", value={"index": 0, "scale": 1e9}),
            _set("extras", value={"a": [[[[[[[[]]]]]]]]}),
            _set("asset", value={"version": "2.9", "minVersion": "2.8"}),
            _set("bufferViews", 1, "byteOffset", value=3),
            _set("buffers", value=[{"byteLength": 10**12}]),
            _set("buffers", value=[]),
            _set("meshes", 0, "primitives", 0, "indices", value=None),
            lambda content, data: _primitive(content).pop("indices"),
            lambda content, data: _primitive(content).pop("material"),
            lambda content, data: content.pop("scene"),
            lambda content, data: content.pop("scenes"),
            lambda content, data: content.pop("asset"),
            lambda content, data: content["accessors"][1].pop("bufferView"),
            lambda content, data: content["accessors"][1].pop("min"),
            lambda content, data: content["materials"].extend([{}] * 3000),
            _with("COLOR_0", _colours("<u2", 4, 65535), "VEC4", normalized=True),
            _with("COLOR_0", _colours("<f4", 3, 1.0), "VEC3"),
            _with("COLOR_0", _colours("u1", 4, 255), "VEC4", normalized=True),
            _with("COLOR_0", _colours("<f4", 4, 255.0), "VEC4"),
            _with("COLOR_0", _colours("<f4", 3, np.nan), "VEC3"),
            _with("TEXCOORD_7", _colours("<f4", 2, 1.0), "VEC2"),
            _with("_OWN", _colours("<f4", 1, 1.0), "SCALAR"),
            _with("NORMAL", _colours("<f4", 3, 0.0), "VEC3"),
            _with("TANGENT", _colours("<f4", 4, np.inf), "VEC4"),
            _whole_numbers,
            _picture_of("JPEG", "image/png"),
            _picture_of("PNG", "image/jpeg"),
            _picture_of("WEBP", "image/webp"),
            _picture_of("GIF", "image/png"),
            _picture_of("TIFF", "image/png"),
            _extended("EXT_texture_webp"),
            _extended("KHR_texture_basisu"),
        )
    ),
    *(
        _bytes(change)
        for change in (
            lambda data: data + b"more" * 100,
            lambda data: data[:8] + struct.pack("<I", len(data) - 4) + data[12:],
            lambda data: data[:8] + struct.pack("<I", 2**32 - 1) + data[12:],
            lambda data: data[:8] + bytes(4) + data[12:],
            lambda data: data[:12] + struct.pack("<I", 2**32 - 4) + data[16:],
            lambda data: data[:12] + struct.pack("<I", 8) + data[16:],
            lambda data: data[:16] + b"BIN\0" + data[20:],
            lambda data: b"\xef\xbb\xbf" + data,
            lambda data: data[:3] + b"f" + data[4:],
        )
    ),
    _chunks(lambda text, data: data + text),
    _chunks(lambda text, data: text + text + data),
    _chunks(lambda text, data: text),
    _chunks(lambda text, data: text + _chunk(bytes(16), b"XYZ\0") + data),
    _chunks(lambda text, data: text + data + data),
    _chunks(lambda text, data: text + data + _chunk(bytes(64), b"XYZ\0")),
    _chunks(lambda text, data: text + data, version=1),
    _chunks(lambda text, data: text + data, version=3),
    _chunks(lambda text, data: text + data[:-8], off=0),
    _chunks(lambda text, data: _chunk(b"", b"JSON") + data),
    _chunks(lambda text, data: text + _chunk(b"", b"BIN\0")),
    _text(lambda text: "\ufeff" + text),
    _text(lambda text: text.encode("utf-16")),
    _text(lambda text: "// by hand\n" + text),
    _text(lambda text: text.replace("28.0", "NaN", 1)),
    _text(replaced('"scene": 0', '"scene": 0, "scene": 9')),
    _text(replaced('"scan.bin"', '"./scan.bin"')),
    _text(replaced('"scan.bin"', '"sc%61n.bin?x=1#y"')),
    _text(replaced('"scan.bin"', '"scan.gltf"')),
    _text(replaced('"colour.png"', '"scan.bin"')),
    _text(replaced('"colour.png"', '"data:image/png;charset=x;base64,' + base64.b64encode(scans.png(8, 8)).decode() + '"')),
    _text(replaced('"colour.png"', '"data:image/svg+xml,<svg/>"')),
    _text(replaced('"colour.png"', '"' + "x" * 70_000 + '"')),
    _text(lambda text: text + " " * 3_000_000),
    _text(lambda text: json.dumps(json.loads(text)).replace('"count"', '"\\u0063ount"')),
)
"""Every case."""
