"""Small valid scans in every format, written byte by byte, so that the same seed always gives the same files.

One lathe-turned figure with a foot, UVs and a picture of 16 x 16, in OBJ with MTL, PLY and STL as text and binary, GLB, glTF
with its data beside, FBX as text and binary, and USD as text.
"""

from __future__ import annotations

import json
import struct
import zlib
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

FORMATS = (
    "obj",
    "ply_text",
    "ply_binary",
    "ply_big",
    "stl_text",
    "stl_binary",
    "glb",
    "gltf",
    "fbx_text",
    "fbx_binary",
    "usda",
)
MAIN = {
    "obj": "scan.obj", "ply_text": "scan.ply", "ply_binary": "scan.ply", "ply_big": "scan.ply", "stl_text": "scan.stl",
    "stl_binary": "scan.stl", "glb": "scan.glb", "gltf": "scan.gltf", "fbx_text": "scan.fbx", "fbx_binary": "scan.fbx",
    "usda": "scan.usda",
}  # fmt: skip
"""The name of the file that is the scan itself."""
TEXTS = ("obj", "ply_text", "stl_text", "gltf", "fbx_text", "usda")
PICTURE = "colour.png"


@dataclass(frozen=True)
class Figure:
    """Points (n, 3), faces (m, 3) that look outwards, and a UV a point (n, 2)."""

    points: Any
    faces: Any
    uv: Any


def figure(seed: int = 0, *, rows: int = 9, columns: int = 10) -> Figure:
    """A closed figure about 70 units high on a round foot, its girth lobed by the seed."""
    random = np.random.default_rng(seed)
    part = np.linspace(0.0, 1.0, rows)
    radius = np.interp(part, [0.0, 0.2, 0.25, 0.6, 1.0], [28.0, 28.0, 14.0, 18.0, 5.0]) * random.uniform(0.9, 1.1, rows)
    radius[:2] = 28.0
    angle = np.linspace(0.0, 2.0 * np.pi, columns, endpoint=False)
    lobes = 1.0 + 0.12 * np.cos(2 * angle + random.uniform(0, 6))
    lobes = np.where(part[:, None] > 0.25, lobes, 1.0)
    rings = radius[:, None] * lobes
    points = np.stack([rings * np.cos(angle), rings * np.sin(angle), np.repeat(70.0 * part[:, None], columns, 1)], -1)
    points = np.concatenate([points.reshape(-1, 3), [[0.0, 0.0, 0.0], [0.0, 0.0, 70.0]]])
    uv = np.stack([np.tile(angle / 7.0, rows), np.repeat(part, columns)], -1)
    uv = np.concatenate([uv, [[0.5, 0.0], [0.5, 1.0]]])
    i, j = np.meshgrid(np.arange(rows - 1), np.arange(columns), indexing="ij")
    k, at = (j + 1) % columns, i * columns
    quads = np.stack([at + j, at + k, at + columns + k, at + columns + j], -1).reshape(-1, 4)
    turn, low, high = np.arange(columns), rows * columns, rows * columns + 1
    top = (rows - 1) * columns
    ends = [np.stack([np.roll(turn, -1), turn, np.full(columns, low)], 1)]
    ends += [np.stack([top + turn, top + np.roll(turn, -1), np.full(columns, high)], 1)]
    return Figure(np.round(points, 4), np.concatenate([quads[:, [0, 1, 2]], quads[:, [0, 2, 3]], *ends]), np.round(uv, 5))


def scan(format: str, shape: Figure | None = None, *, picture: str = PICTURE) -> dict[str, bytes]:
    """The files of a valid scan, name to bytes, its picture among them where the format can name one."""
    shape = figure() if shape is None else shape
    files = {MAIN[format]: _WRITERS[format](shape, picture)}
    if format == "obj":
        files["scan.mtl"] = f"newmtl clay\nKd 0.8 0.7 0.6\nmap_Kd {picture}\n".encode()
    if format == "gltf":
        files["scan.bin"] = _gltf_parts(shape)[1]
    if format in ("obj", "gltf", "fbx_text", "fbx_binary", "usda"):
        files[picture] = png(16, 16)
    return files


def png(width: int, height: int, *, seed: int = 1, pixels: bytes | None = None, bits: int = 8, kind: int = 2) -> bytes:
    """A PNG of noise (ISO/IEC 15948); `pixels`: its packed rows instead, which need not fit."""
    channels = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}[kind]
    if pixels is None:
        rows = np.random.default_rng(seed).integers(40, 215, (height, width * channels * bits // 8), np.uint8)
        pixels = np.pad(rows, ((0, 0), (1, 0))).tobytes()

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    header = struct.pack(">IIBBBBB", width, height, bits, kind, 0, 0, 0)
    palette = chunk(b"PLTE", bytes(range(256)) * 3) if kind == 3 else b""
    body = chunk(b"IDAT", zlib.compress(pixels, 1))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + palette + body + chunk(b"IEND", b"")


# --- text and plain binary -----------------------------------------------------------------------------------------------


def _obj(shape: Figure, picture: str) -> bytes:
    lines = [
        "mtllib scan.mtl",
        *(f"v {x:g} {y:g} {z:g}" for x, y, z in shape.points),
        *(f"vt {u:g} {v:g}" for u, v in shape.uv),
    ]
    lines += ["usemtl clay", *(f"f {a}/{a} {b}/{b} {c}/{c}" for a, b, c in shape.faces + 1)]
    return ("\n".join(lines) + "\n").encode()


def _ply_head(shape: Figure, kind: str) -> bytes:
    return (
        f"ply\nformat {kind} 1.0\nelement vertex {len(shape.points)}\nproperty float x\nproperty float y\nproperty float z\n"
        f"element face {len(shape.faces)}\nproperty list uchar int vertex_indices\nend_header\n"
    ).encode()


def _ply_text(shape: Figure, picture: str) -> bytes:
    lines = [f"{x:g} {y:g} {z:g}" for x, y, z in shape.points] + [f"3 {a} {b} {c}" for a, b, c in shape.faces]
    return _ply_head(shape, "ascii") + ("\n".join(lines) + "\n").encode()


def _ply(shape: Figure, order: str, kind: str) -> bytes:
    rows = np.zeros(len(shape.faces), [("n", "u1"), ("v", f"{order}i4", 3)])
    rows["n"], rows["v"] = 3, shape.faces
    return _ply_head(shape, kind) + shape.points.astype(f"{order}f4").tobytes() + rows.tobytes()


def _stl_text(shape: Figure, picture: str) -> bytes:
    lines = ["solid scan"]
    for face in shape.faces:
        corners = [f"      vertex {x:g} {y:g} {z:g}" for x, y, z in shape.points[face]]
        lines += ["  facet normal 0 0 0", "    outer loop", *corners, "    endloop", "  endfacet"]
    return ("\n".join([*lines, "endsolid scan"]) + "\n").encode()


def _stl_binary(shape: Figure, picture: str) -> bytes:
    rows = np.zeros(len(shape.faces), [("n", "<f4", 3), ("v", "<f4", (3, 3)), ("a", "<u2")])
    rows["v"] = shape.points[shape.faces]
    return b"scan".ljust(80, b" ") + struct.pack("<I", len(rows)) + rows.tobytes()


# --- glTF ------------------------------------------------------------------------------------------------------------------


def _gltf_parts(shape: Figure) -> tuple[dict[str, Any], bytes]:
    """The description without addresses and the data: corners, points, UVs."""
    views = [shape.faces.astype("<u4").tobytes(), shape.points.astype("<f4").tobytes(), shape.uv.astype("<f4").tobytes()]
    starts = np.cumsum([0, *map(len, views)])
    count = len(shape.points)
    content = {
        "asset": {"version": "2.0", "generator": "by hand"},
        "scene": 0,
        "scenes": [{"nodes": [0]}],
        "nodes": [{"mesh": 0, "name": "figure"}],
        "meshes": [{"primitives": [{"indices": 0, "attributes": {"POSITION": 1, "TEXCOORD_0": 2}, "material": 0}]}],
        "materials": [{"name": "clay", "pbrMetallicRoughness": {"baseColorTexture": {"index": 0}, "metallicFactor": 0.0}}],
        "textures": [{"source": 0, "sampler": 0}],
        "samplers": [{"magFilter": 9729}],
        "images": [{}],
        "accessors": [
            {"bufferView": 0, "componentType": 5125, "count": shape.faces.size, "type": "SCALAR"},
            {"bufferView": 1, "componentType": 5126, "count": count, "type": "VEC3",
             "min": shape.points.min(axis=0).tolist(), "max": shape.points.max(axis=0).tolist()},
            {"bufferView": 2, "componentType": 5126, "count": count, "type": "VEC2"},
        ],
        "bufferViews": [
            {"buffer": 0, "byteOffset": int(start), "byteLength": len(view)} for start, view in zip(starts, views, strict=False)
        ],
    }  # fmt: skip
    return content, b"".join(views)


def _gltf(shape: Figure, picture: str) -> bytes:
    content, data = _gltf_parts(shape)
    content["images"], content["buffers"] = [{"uri": picture}], [{"byteLength": len(data), "uri": "scan.bin"}]
    return json.dumps(content, indent=1).encode()


def _glb(shape: Figure, picture: str) -> bytes:
    content, data = _gltf_parts(shape)
    image = png(16, 16)
    content["bufferViews"].append({"buffer": 0, "byteOffset": len(data), "byteLength": len(image)})
    content["images"] = [{"bufferView": 3, "mimeType": "image/png", "name": "colour"}]
    return glb(content, data + image)


def glb(content: dict[str, Any], data: bytes) -> bytes:
    """A binary glTF (glTF 2.0 specification, section 4.4) of a description and its data chunk."""
    content.setdefault("buffers", [{"byteLength": len(data)}])
    return glb_of_text(json.dumps(content).encode(), data)


def glb_of_text(text: bytes, data: bytes) -> bytes:
    """The same for a description that is text already, sound or not."""
    text, data = text + b" " * (-len(text) % 4), data + b"\0" * (-len(data) % 4)
    body = struct.pack("<II", len(text), 0x4E4F534A) + text + struct.pack("<II", len(data), 0x004E4942) + data
    return struct.pack("<4sII", b"glTF", 2, 12 + len(body)) + body


def draco_glb(shape: Figure) -> bytes:
    """The same packed by Google's encoder, which the environment of the benches holds (KHR_draco_mesh_compression)."""
    import DracoPy

    data = DracoPy.encode(shape.points, shape.faces, quantization_bits=12, tex_coord=shape.uv)
    mesh = DracoPy.decode(data)
    numbers = {row["attribute_type"]: row["unique_id"] for row in mesh.attributes}  # 0: position, 3: texture coordinate
    content, _ = _gltf_parts(shape)
    for accessor, count in zip(content["accessors"], (mesh.faces.size, len(mesh.points), len(mesh.points)), strict=True):
        accessor["count"] = count
        del accessor["bufferView"]
    own = {"bufferView": 0, "attributes": {"POSITION": numbers[0], "TEXCOORD_0": numbers[3]}}
    content["meshes"][0]["primitives"][0]["extensions"] = {"KHR_draco_mesh_compression": own}
    content["extensionsUsed"] = content["extensionsRequired"] = ["KHR_draco_mesh_compression"]
    image = png(16, 16)
    start = len(data) + -len(data) % 4
    content["bufferViews"] = [
        {"buffer": 0, "byteLength": len(data)},
        {"buffer": 0, "byteOffset": start, "byteLength": len(image)},
    ]
    content["images"] = [{"bufferView": 1, "mimeType": "image/png"}]
    return glb(content, data.ljust(start, b"\0") + image)


# --- FBX -------------------------------------------------------------------------------------------------------------------

Node = tuple[str, Sequence[Any], Sequence[Any]]
"""Name, properties (int, float, str, or arrays), nodes within."""


def _fbx_tree(shape: Figure, picture: str) -> list[Node]:
    """A mesh with a material and a picture, as the structure that both forms of the format hold."""
    corners = shape.faces.copy()
    corners[:, 2] = -corners[:, 2] - 1  # the last corner of a face is written as its complement
    uv = [("MappingInformationType", ["ByVertice"], []), ("ReferenceInformationType", ["Direct"], []),
          ("UV", [shape.uv.ravel().astype(float)], [])]  # fmt: skip
    slot = [("MappingInformationType", ["AllSame"], []), ("ReferenceInformationType", ["IndexToDirect"], []),
            ("Materials", [np.zeros(1, np.int32)], [])]  # fmt: skip
    geometry = [("Vertices", [shape.points.ravel().astype(float)], []), ("PolygonVertexIndex",
    [corners.ravel().astype(np.int32)], []),
                ("LayerElementUV", [0], uv), ("LayerElementMaterial", [0], slot)]  # fmt: skip
    objects = [
        ("Geometry", [100, "figure\0\1Geometry", "Mesh"], geometry),
        ("Model", [200, "figure\0\1Model", "Mesh"], [("Version", [232], [])]),
        ("Material", [300, "clay\0\1Material", ""], [("Version", [102], []), ("ShadingModel", ["phong"], [])]),
        ("Texture", [400, "colour\0\1Texture", ""], [("FileName", [picture], []), ("RelativeFilename", [picture], [])]),
        ("Video", [500, "colour\0\1Video", "Clip"], [("FileName", [picture], []), ("RelativeFilename", [picture], [])]),
    ]
    links = [("C", ["OO", 100, 200], []), ("C", ["OO", 200, 0], []), ("C", ["OO", 300, 200], []),
             ("C", ["OP", 400, 300, "DiffuseColor"], []), ("C", ["OO", 500, 400], [])]  # fmt: skip
    head = [("FBXHeaderVersion", [1003], []), ("FBXVersion", [7400], [])]
    return [("FBXHeaderExtension", [], head), ("Objects", [], objects), ("Connections", [], links)]


def _fbx_text(shape: Figure, picture: str) -> bytes:
    return ("; FBX 7.4.0 project file\n" + "".join(_text_node(node, 0) for node in _fbx_tree(shape, picture))).encode()


def _text_node(node: Node, depth: int) -> str:
    name, properties, inner = node
    pad, words, body = "\t" * depth, [], ""
    for value in properties:
        if isinstance(value, np.ndarray):
            words.append(f"*{value.size}")
            body += f"{pad}\ta: {','.join(f'{number:g}' for number in value.tolist())}\n"
        elif isinstance(value, str):
            plain, _, kind = value.partition("\0\1")
            words.append(f'"{kind}::{plain}"' if kind else f'"{value}"')
        else:
            words.append(str(value))
    body += "".join(_text_node(child, depth + 1) for child in inner)
    return f"{pad}{name}: {', '.join(words)}" + (f" {{\n{body}{pad}}}\n" if body else "\n")


def _fbx_binary(shape: Figure, picture: str) -> bytes:
    data = b"Kaydara FBX Binary  \0\x1a\0" + struct.pack("<I", 7400)
    for node in _fbx_tree(shape, picture):
        data += _binary_node(node, len(data))
    return data + bytes(13) + bytes(16) + bytes(-len(data) % 16) + struct.pack("<II", 0, 7400) + bytes(120) + bytes(16)


def _binary_node(node: Node, start: int) -> bytes:
    name, properties, inner = node
    written = b"".join(map(_binary_property, properties))
    head = 13 + len(name)
    body = b""
    for child in inner:
        body += _binary_node(child, start + head + len(written) + len(body))
    body += bytes(13) if inner else b""
    end = start + head + len(written) + len(body)
    return struct.pack("<IIIB", end, len(properties), len(written), len(name)) + name.encode() + written + body


def _binary_property(value: Any) -> bytes:
    if isinstance(value, np.ndarray):
        code = b"d" if value.dtype.kind == "f" else b"i"
        return code + struct.pack("<III", value.size, 0, value.nbytes) + value.tobytes()
    if isinstance(value, str):
        return b"S" + struct.pack("<I", len(value.encode())) + value.encode()
    return b"L" + struct.pack("<q", value) if value >= 100 else b"I" + struct.pack("<i", value)


# --- USD -------------------------------------------------------------------------------------------------------------------


def _usda(shape: Figure, picture: str) -> bytes:
    points = ", ".join(f"({x:g}, {y:g}, {z:g})" for x, y, z in shape.points)
    uv = ", ".join(f"({u:g}, {v:g})" for u, v in shape.uv)
    corners = ", ".join(map(str, shape.faces.ravel().tolist()))
    return f"""#usda 1.0
(
    defaultPrim = "scan"
    metersPerUnit = 0.001
    upAxis = "Z"
)
def Xform "scan"
{{
    def Mesh "figure" (
        prepend apiSchemas = ["MaterialBindingAPI"]
    )
    {{
        int[] faceVertexCounts = [{", ".join(["3"] * len(shape.faces))}]
        int[] faceVertexIndices = [{corners}]
        point3f[] points = [{points}]
        texCoord2f[] primvars:st = [{uv}] (
            interpolation = "vertex"
        )
        uniform token subdivisionScheme = "none"
        rel material:binding = </scan/clay>
    }}
    def Material "clay"
    {{
        token outputs:surface.connect = </scan/clay/shader.outputs:surface>
        def Shader "shader"
        {{
            uniform token info:id = "UsdPreviewSurface"
            color3f inputs:diffuseColor.connect = </scan/clay/texture.outputs:rgb>
            token outputs:surface
        }}
        def Shader "texture"
        {{
            uniform token info:id = "UsdUVTexture"
            asset inputs:file = @./{picture}@
            float3 outputs:rgb
        }}
    }}
}}
""".encode()


_WRITERS = {
    "obj": _obj, "ply_text": _ply_text, "ply_binary": lambda shape, _: _ply(shape, "<", "binary_little_endian"),
    "ply_big": lambda shape, _: _ply(shape, ">", "binary_big_endian"), "stl_text": _stl_text, "stl_binary": _stl_binary,
    "glb": _glb, "gltf": _gltf, "fbx_text": _fbx_text, "fbx_binary": _fbx_binary, "usda": _usda,
}  # fmt: skip
