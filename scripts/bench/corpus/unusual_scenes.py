"""FBX and USD with parts that scans seldom have, and all scenes and pictures: `SCENES`."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Callable
from typing import Any

import numpy as np

from . import scans
from .cases import Case, Random, of_scan, replaced
from .unusual_gltf import GLTF
from .unusual_pictures import PICTURES

KIND = "unusual scene"


def scene(number: int, random: Random) -> Case:
    """The case of that number; chance has no part in it."""
    return SCENES[number]()


def _fbx(change: Callable[[list[scans.Node]], Any], *, version: int = 7400) -> Callable[[], Case]:
    """A binary FBX whose tree is changed."""

    def make() -> Case:
        tree = scans._fbx_tree(scans.figure(), scans.PICTURE)
        change(tree)
        data = b"Kaydara FBX Binary  \0\x1a\0" + struct.pack("<I", version)
        for node in tree:
            data += scans._binary_node(node, len(data))
        data += bytes(13) + bytes(16) + bytes(-len(data) % 16) + struct.pack("<II", 0, version) + bytes(136)
        return of_scan(KIND, {"scan.fbx": data, scans.PICTURE: scans.png(16, 16)}, "scan.fbx")

    return make


def _within(tree: list[scans.Node], *names: str) -> list[scans.Node]:
    found: Any = tree
    for name in names:
        found = next(node[2] for node in found if node[0] == name)
    return found


def _array(tree: list[scans.Node], name: str, values: np.ndarray) -> None:
    nodes = _within(tree, "Objects", "Geometry")
    place = next(place for place, node in enumerate(nodes) if node[0] == name)
    nodes[place] = (name, [values], [])


def _placed(tree: list[scans.Node], words: str, *values: float) -> None:
    """A property of the model, such as its scaling."""
    row = ("P", [words, words, "", "A", *(f"{value}" for value in values)], [])
    _within(tree, "Objects", "Model").append(("Properties70", [], [row]))


def _bomb() -> bytes:
    """An FBX whose points are announced as 125 million, packed into a megabyte of zeros."""
    case = _fbx(lambda tree: None)()
    data = case.files["scan.fbx"]
    place = data.index(b"Vertices") + 8
    count = struct.unpack_from("<I", data, place + 1)[0]
    packed = zlib.compress(bytes(8 * 125_000_000), 9)
    return data[: place + 1] + struct.pack("<III", 125_000_000, 1, len(packed)) + packed + data[place + 13 + 8 * count :]


FBX: tuple[Callable[[], Case], ...] = (
    _fbx(lambda tree: None, version=6100),
    _fbx(lambda tree: None, version=7700),
    _fbx(lambda tree: None, version=9900),
    _fbx(lambda tree: tree.pop()),
    _fbx(lambda tree: tree.pop(1)),
    _fbx(lambda tree: tree.extend(tree)),
    _fbx(lambda tree: _array(tree, "PolygonVertexIndex", np.arange(50, dtype=np.int32))),
    _fbx(lambda tree: _array(tree, "PolygonVertexIndex", np.array([0, 1, -900], np.int32))),
    _fbx(lambda tree: _array(tree, "PolygonVertexIndex", np.array([], np.int32))),
    _fbx(lambda tree: _array(tree, "PolygonVertexIndex", np.array([0, 1, 2, 3, 4, 5, 6, -8, 0, 2, 1, -5], np.int32))),
    _fbx(lambda tree: _array(tree, "PolygonVertexIndex", np.full(60, -1, np.int32))),
    _fbx(lambda tree: _array(tree, "Vertices", np.array([], float))),
    _fbx(lambda tree: _array(tree, "Vertices", np.ones(7))),
    _fbx(lambda tree: _array(tree, "Vertices", np.full(276, np.nan))),
    _fbx(lambda tree: _placed(tree, "Lcl Scaling", -1, 1, 1)),
    _fbx(lambda tree: _placed(tree, "Lcl Translation", 1e30, 0, 0)),
    _fbx(lambda tree: _within(tree, "Connections").append(("C", ["OO", 200, 200], []))),
    _fbx(lambda tree: _within(tree, "Connections").append(("C", ["OO", 100, 99999], []))),
    _fbx(lambda tree: _within(tree, "Objects").append(("Model", [201, "bone\0\1Model", "LimbNode"], []))),
    _fbx(
        lambda tree: _within(tree, "Objects").extend(("Model", [1000 + n, f"m{n}\0\1Model", "Mesh"], []) for n in range(5000))
    ),
    lambda: of_scan(KIND, {"scan.fbx": _bomb()}, "scan.fbx"),
)


def _usd(change: Callable[[str], str | bytes], **more: bytes) -> Callable[[], Case]:
    """A USD as text, changed; `more`: files beside, under names of their own."""

    def make() -> Case:
        files = scans.scan("usda")
        text = change(files["scan.usda"].decode())
        files["scan.usda"] = text if isinstance(text, bytes) else text.encode()
        return of_scan(KIND, {**files, **{name.replace("_usda", ".usda"): data for name, data in more.items()}}, "scan.usda")

    return make


HEAD = 'def Xform "scan"\n'


def _lead(words: str) -> Callable[[str], str]:
    """Composition of the root prim."""
    return lambda text: text.replace(HEAD, f'def Xform "scan" (\n    {words}\n)\n')


PART = scans.scan("usda")["scan.usda"]
USD: tuple[Callable[[], Case], ...] = (
    _usd(_lead("prepend references = @./part.usda@"), part_usda=PART),
    _usd(_lead("prepend payload = @./part.usda@"), part_usda=PART),
    _usd(_lead("prepend references = @./scan.usda@")),
    _usd(_lead("prepend payload = @scan.usda@</scan/figure>")),
    _usd(_lead("prepend references = @/etc/passwd@")),
    _usd(_lead("prepend payload = @../store/part.usda@")),
    _usd(_lead("prepend references = @http://127.0.0.1:9/x.usda@")),
    _usd(_lead("inherits = </scan>")),
    _usd(_lead("inherits = </scan/figure>")),
    _usd(_lead("specializes = </nothing>")),
    _usd(_lead("active = false")),
    _usd(_lead('kind = "component"\n    instanceable = true')),
    _usd(_lead('variants = { string look = "none" }\n    prepend variantSets = "look"')),
    _usd(
        lambda text: text.replace("(\n    defaultPrim", "(\n    subLayers = [@./scan.usda@, @./none.usda@]\n    defaultPrim", 1)
    ),
    _usd(replaced("metersPerUnit = 0.001", "metersPerUnit = 0")),
    _usd(replaced("metersPerUnit = 0.001", "metersPerUnit = -1")),
    _usd(replaced("metersPerUnit = 0.001", "metersPerUnit = 1e300")),
    _usd(replaced("metersPerUnit = 0.001", "metersPerUnit = nan")),
    _usd(replaced('upAxis = "Z"', 'upAxis = "X"')),
    _usd(replaced('defaultPrim = "scan"', 'defaultPrim = "none"')),
    _usd(replaced('"none"', '"catmullClark"')),
    _usd(replaced('= "none"', '= "loop"\n        bool doubleSided = 1')),
    _usd(
        lambda text: text.replace("point3f[] points = ", "point3f[] points.timeSamples = { 1: ").replace(
            ")]\n        texCoord", ")] }\n        texCoord"
        )
    ),
    _usd(replaced("        texCoord2f", '        token visibility = "invisible"\n        texCoord2f')),
    _usd(replaced("        texCoord2f", '        token purpose = "guide"\n        texCoord2f')),
    _usd(replaced('interpolation = "vertex"', 'interpolation = "faceVarying"')),
    _usd(replaced('interpolation = "vertex"', 'interpolation = "none of these"')),
    _usd(
        replaced(
            "        uniform token subdiv",
            "        color3f[] primvars:displayColor = [(200, 10, 0.5)]\n        uniform token subdiv",
        )
    ),
    _usd(replaced("faceVertexCounts = [3, 3", "faceVertexCounts = [3, 4")),
    _usd(replaced("faceVertexCounts = [3", "faceVertexCounts = [-3")),
    _usd(replaced("faceVertexIndices = [", "faceVertexIndices = [999999, ")),
    _usd(replaced("faceVertexIndices = [", "faceVertexIndices = [-7, ")),
    _usd(replaced("@./colour.png@", '@`"${NAME}.png"`@')),
    _usd(replaced("@./colour.png@", "@colour.<UDIM>.png@")),
    _usd(replaced("@./colour.png@", "@./scan.usda@")),
    _usd(replaced("@./colour.png@", "@anon:0x1:x@")),
    _usd(replaced("</scan/clay/texture.outputs:rgb>", "</scan/clay/shader.outputs:surface>")),
    _usd(replaced("rel material:binding = </scan/clay>", "rel material:binding = [</scan/clay>, </nothing>]")),
    _usd(lambda text: text.rstrip()[:-1] + "".join(f'def Xform "a{n}" {{ ' for n in range(600)) + "}" * 601 + "\n"),
    _usd(lambda text: text + "".join(f'def Mesh "m{n}" (references = </scan/figure>) {{}}\n' for n in range(300))),
    _usd(replaced('def Mesh "figure"', 'class Mesh "figure"')),
    _usd(replaced('def Mesh "figure"', 'over "figure"')),
    _usd(replaced('"figure"', '"fi gure"')),
    _usd(replaced("figure", "käuz")),
    _usd(lambda text: text.encode("utf-16")),
    _usd(lambda text: "\ufeff" + text),
    _usd(replaced("#usda 1.0", "#usda 9.9")),
    _usd(lambda text: "#usda 1.0\n"),
)


SCENES: tuple[Callable[[], Case], ...] = (*GLTF, *FBX, *USD, *PICTURES)
"""Every case."""
