"""Hand-made faulty scans and sheets, each with a fault that random damage would hardly produce: `DEVISED`."""

from __future__ import annotations

import base64
import io
import json
import os
import re
import struct
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from . import scans
from .cases import Case, Random, of_scan, replaced

KIND = "devised"


def devised(number: int, random: Random) -> Case:
    """The case of that number; chance has no part in it."""
    return DEVISED[number]()


def _obj(change: Callable[[str], str | bytes], **more: bytes) -> Case:
    files = scans.scan("obj")
    text = change(files["scan.obj"].decode())
    files["scan.obj"] = text if isinstance(text, bytes) else text.encode()
    return of_scan(KIND, {**files, **more}, "scan.obj")


def _negative(text: str) -> str:
    """Faces that count from the end (OBJ: a negative number is relative)."""
    count = sum(line.startswith("v ") for line in text.splitlines())
    corners = [[f"{int(word.split('/')[0]) - 1 - count}" for word in line.split()[1:]]
               for line in text.splitlines() if line.startswith("f ")]  # fmt: skip
    kept = [line for line in text.splitlines() if line.startswith("v ")]
    return "\n".join([*kept, *("f " + " ".join(face) for face in corners)]) + "\n"


def _ply(head: str, body: str | bytes) -> Case:
    data = b"ply\n" + head.encode() + b"end_header\n" + (body if isinstance(body, bytes) else body.encode())
    return of_scan(KIND, {"scan.ply": data}, "scan.ply")


SQUARE = "0 0 0\n10 0 0\n10 10 0\n0 10 0\n5 5 20\n"
XYZ = "property float x\nproperty float y\nproperty float z\n"
ASCII = "format ascii 1.0\n"
FACES = "element face 6\nproperty list uchar int vertex_indices\n"
PYRAMID = "3 0 1 4\n3 1 2 4\n3 2 3 4\n3 3 0 4\n3 0 2 1\n3 0 3 2\n"


def _ply_of(elements: str, body: str) -> Case:
    return _ply(ASCII + elements, body)


def _stl(data: bytes) -> Case:
    return of_scan(KIND, {"scan.stl": data}, "scan.stl")


def _gltf(change: Callable[[dict[str, Any]], Any], *, data: Callable[[bytes], bytes] = bytes) -> Case:
    """A glTF with its data beside, its description changed."""
    content, body = scans._gltf_parts(scans.figure())
    content.setdefault("buffers", [{"byteLength": len(body)}])
    content["buffers"][0]["uri"] = "scan.bin"
    content["images"] = [{"uri": scans.PICTURE}]
    change(content)
    files = {"scan.gltf": json.dumps(content).encode(), "scan.bin": data(body), scans.PICTURE: scans.png(16, 16)}
    return of_scan(KIND, files, "scan.gltf")


def _sparse(content: dict[str, Any], **changes: Any) -> None:
    """A sparse accessor (glTF 2.0, 5.1.1): two points moved, where `changes` do not say otherwise."""
    sparse = {"count": 2, "indices": {"bufferView": 0, "componentType": 5125}, "values": {"bufferView": 1}}
    content["accessors"][content["meshes"][0]["primitives"][0]["attributes"]["POSITION"]]["sparse"] = sparse | changes


def _circle(content: dict[str, Any]) -> None:
    content["nodes"] = [{"mesh": 0, "children": [1]}, {"children": [0]}]
    content["scenes"] = [{"nodes": [0]}]


def _deep(content: dict[str, Any]) -> None:
    count = 4000
    content["nodes"] = [{"children": [place + 1]} for place in range(count)] + [{"mesh": 0}]
    content["scenes"] = [{"nodes": [0]}]


def _data_uri(content: dict[str, Any]) -> None:
    content["images"] = [{"uri": "data:image/png;base64," + base64.b64encode(scans.png(16, 16)).decode()}]


def _bad_data_uri(content: dict[str, Any]) -> None:
    content["buffers"][0]["uri"] = "data:application/octet-stream;base64,@@@@"


def _set(*path: Any, value: Any) -> Callable[[dict[str, Any]], None]:
    def change(content: dict[str, Any]) -> None:
        for key in path[:-1]:
            content = content[key]
        content[path[-1]] = value

    return change


def _pictured(mode: str, size: tuple[int, int], format: str, **more: Any) -> Callable[[], Case]:
    """The picture of an OBJ in another kind of picture, under the name that the library gives."""

    def make() -> Case:
        random = np.random.default_rng(4)
        if mode in ("I;16", "I"):
            image = Image.fromarray(random.integers(0, 65535, (size[1], size[0])).astype(np.uint16))
        elif mode == "F":
            image = Image.fromarray(random.random((size[1], size[0])).astype(np.float32))
        else:
            image = Image.fromarray(random.integers(0, 255, (size[1], size[0], 3)).astype(np.uint8)).convert(mode)
        data = io.BytesIO()
        own = dict(more)
        if own.pop("turned", False):
            exif = Image.Exif()
            exif[0x0112] = 6  # Exif: Orientation, the 0th row is the visual right-hand side
            own["exif"] = exif
        if own.pop("moving", False):
            own |= {"save_all": True, "append_images": [image.rotate(90), image.rotate(180)]}
        image.save(data, format, **own)
        files = scans.scan("obj")
        files[scans.PICTURE] = data.getvalue()
        return of_scan(KIND, files, "scan.obj")

    return make


def _sheet(text: str, prepare: Callable[[Path], None] | None = None) -> Callable[[], Case]:
    return lambda: Case(KIND, scans.scan("obj"), text.encode("utf-8", "surrogatepass"), prepare)


INTAKE = 'bozzetto = 1\n[intake]\nscan = "scan.obj"\n'


def _pipe(name: str) -> Callable[[Path], None]:
    def prepare(folder: Path) -> None:
        (folder / name).unlink(missing_ok=True)
        os.mkfifo(folder / name)

    return prepare


def _folder(name: str) -> Callable[[Path], None]:
    def prepare(folder: Path) -> None:
        (folder / name).unlink(missing_ok=True)
        (folder / name).mkdir()

    return prepare


def _named(name: str) -> Callable[[], Case]:
    return lambda: of_scan(KIND, {name: scans.scan("stl_binary")["scan.stl"]}, name)


def _text_stl(head: bytes) -> bytes:
    return head + scans.scan("stl_text")["scan.stl"].split(b"\n", 1)[1]


DEVISED: tuple[Callable[[], Case], ...] = (
    # OBJ
    lambda: _obj(replaced("\n", "\r\n")),
    lambda: _obj(replaced("\n", "\r")),
    lambda: _obj(lambda text: text.encode("utf-16")),
    lambda: _obj(lambda text: b"\xef\xbb\xbf" + text.encode()),
    lambda: _obj(_negative),
    lambda: _obj(lambda text: _negative(text).replace("f -1 ", "f -99999 ", 1)),
    lambda: _obj(lambda text: text.replace("f ", "f 0 ", 1)),
    lambda: _obj(lambda text: text.replace("f ", "f 1 2\nf 1\nf\nf 1 1 1\nf ", 1)),
    lambda: _obj(lambda text: text + "f " + " ".join(["1"] * 50_000) + "\n"),
    lambda: _obj(replaced("\nf ", "\nf \\\n ")),
    lambda: _obj(replaced("mtllib ", "mtllib scan.mtl scan.mtl other.mtl ")),
    lambda: _obj(lambda text: "mtllib scan.obj\n" + text),
    lambda: _obj(lambda text: text.replace("v ", "v   \t ").replace("\n", "  \n")),
    lambda: _obj(lambda text: re.sub("(?m)^(v .*)$", r"\1 0.5 0.2 7.0 1.0", text)),
    lambda: _obj(lambda text: "o " + "x" * 100_000 + "\n" + text),
    lambda: _obj(lambda text: text.replace("usemtl", "cstype bezier\ndeg 3\ncurv 0 1 1 2 3 4\nend\nusemtl", 1)),
    lambda: _obj(lambda text: text.replace(".", ",").replace(",mtl", ".mtl")),
    # PLY
    lambda: _ply_of(f"element vertex 5\n{XYZ}{FACES}", SQUARE + PYRAMID),
    lambda: _ply_of(f"element vertex 99\n{XYZ}{FACES}", SQUARE + PYRAMID),
    lambda: _ply_of(f"element vertex -5\n{XYZ}{FACES}", SQUARE + PYRAMID),
    lambda: _ply_of(f"element vertex 5\n{XYZ}{FACES}", SQUARE + PYRAMID.replace("3 0 1 4", "3 0 1 900")),
    lambda: _ply_of(f"element vertex 5\n{XYZ}element face 6\nproperty list list uchar int vertex_indices\n", SQUARE + PYRAMID),
    lambda: _ply_of(f"element vertex 5\n{XYZ}property list uchar float x\n{FACES}", SQUARE + PYRAMID),
    lambda: _ply_of(f"element vertex 5\n{XYZ}element face 6\nproperty list double float vertex_indices\n", SQUARE + PYRAMID),
    lambda: _ply_of(f"{FACES}element vertex 5\n{XYZ}", PYRAMID + SQUARE),
    lambda: _ply_of(f"element vertex 5\n{XYZ}", SQUARE),
    lambda: _ply_of(f"element vertex 5\n{XYZ}{FACES}", SQUARE + "-3 0 1 4\n" * 6),
    lambda: _ply(f"format binary_little_endian 1.0\nelement vertex 5\n{XYZ}element face 2\n"
                 "property list uint uint vertex_indices\n",
                 np.arange(15, dtype="<f4").tobytes() + struct.pack("<I", 0xFFFFFFFF) * 8),
    # STL
    lambda: _stl(_text_stl(b"solid " + b"\xff\x00\xfe" * 20 + b"\n")),
    lambda: _stl(b"solid pretends".ljust(80, b" ") + scans.scan("stl_binary")["scan.stl"][80:]),
    lambda: _stl(scans.scan("stl_binary")["scan.stl"][:80] + struct.pack("<I", 0) + scans.scan("stl_binary")["scan.stl"][84:]),
    lambda: _stl(scans.scan("stl_binary")["scan.stl"] + b"trailing words" * 9),
    lambda: _stl(scans.scan("stl_text")["scan.stl"].upper()),
    lambda: _stl(scans.scan("stl_text")["scan.stl"] + scans.scan("stl_text")["scan.stl"]),
    lambda: _stl(scans.scan("stl_text")["scan.stl"].replace(b".", b",")),
    # glTF
    lambda: _gltf(_set("bufferViews", 0, "byteOffset", value=10**9)),
    lambda: _gltf(_set("bufferViews", 0, "byteStride", value=1)),
    lambda: _gltf(_set("buffers", 0, "byteLength", value=10)),
    lambda: _gltf(_sparse),
    lambda: _gltf(lambda content: _sparse(content, count=10**9)),
    lambda: _gltf(lambda content: _sparse(content, indices={"bufferView": 99, "componentType": 5125})),
    lambda: _gltf(_circle),
    lambda: _gltf(_deep),
    lambda: _gltf(_data_uri),
    lambda: _gltf(_bad_data_uri),
    lambda: _gltf(_set("nodes", 0, "scale", value=[0, 0, 0])),
    lambda: _gltf(_set("nodes", 0, "matrix", value=[0] * 16)),
    lambda: _gltf(_set("nodes", 0, "rotation", value=[1e30, 0, 0, 0])),
    lambda: _gltf(_set("meshes", 0, "primitives", 0, "mode", value=5)),
    lambda: _gltf(_set("extensionsRequired", value=["EXT_unheard_of"])),
    lambda: _gltf(_set("asset", "version", value="1.0")),
    lambda: _gltf(_set("scene", value=7)),
    lambda: _gltf(_set("images", 0, "uri", value="%2e%2e/%2e%2e/etc/passwd")),
    # pictures
    _pictured("CMYK", (16, 16), "JPEG"), _pictured("I;16", (16, 16), "PNG"), _pictured("P", (16, 16), "PNG"),
    _pictured("L", (1, 1), "PNG"), _pictured("1", (16, 16), "PNG"), _pictured("LA", (16, 16), "PNG"),
    _pictured("RGB", (32, 16), "JPEG", turned=True), _pictured("P", (16, 16), "GIF", moving=True),
    _pictured("RGB", (16, 16), "PNG", moving=True), _pictured("RGB", (16, 16), "JPEG", progressive=True),
    _pictured("F", (16, 16), "TIFF"), _pictured("RGB", (16, 16), "TIFF", compression="tiff_lzw"),
    _pictured("RGB", (1, 4096), "PNG"), _pictured("RGB", (16, 16), "WEBP"), _pictured("RGB", (16, 16), "ICO"),
    # sheets
    _sheet(INTAKE + "[orientation]\nheight = 1979-05-27\n"),
    _sheet(INTAKE + "[orientation]\nheight = true\n"),
    _sheet(INTAKE + "[orientation]\nheight = " + "9" * 5000 + "\n"),
    _sheet(INTAKE + "[orientation]\nheight = nan\n"),
    _sheet(INTAKE + "[orientation]\nheight = -inf\n"),
    _sheet(INTAKE + "[orientation]\nheight = 60.0\nheight = 61.0\n"),
    _sheet(INTAKE + "[intake]\nscan = 'scan.obj'\n"),
    _sheet(INTAKE + 'name = "\u202e\u200b"\n'),
    _sheet(INTAKE.replace("bozzetto = 1", "bozzetto = 1.0")),
    _sheet(INTAKE.replace("bozzetto = 1", "bozzetto = true")),
    _sheet(INTAKE.replace("bozzetto = 1", "bozzetto = 99999999999999999999")),
    _sheet(INTAKE.replace("scan.obj", "scan.obj\\n")),
    _sheet(INTAKE.replace("scan.obj", "scan.obj.")),
    _sheet(INTAKE.replace("scan.obj", "./scan.obj/.")),
    _sheet(INTAKE.replace("scan.obj", "%73can.obj")),
    _sheet(INTAKE.replace('"scan.obj"', '["scan.obj"]')),
    _sheet(INTAKE, _pipe("scan.obj")), _sheet(INTAKE, _folder("scan.obj")), _sheet(INTAKE, _pipe(scans.PICTURE)),
    _sheet(INTAKE, _folder("scan.mtl")), _sheet(INTAKE.replace("scan.obj", "job.toml")),
    # names
    _named("a\nb.stl"), _named("\U0001f5ff.stl"), _named("100%d.stl"), _named("a.stl."), _named("-.stl"),
    _named("a\u2028b.stl"),
)  # fmt: skip
"""Every devised case."""
