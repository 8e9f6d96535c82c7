"""Text scans and tables of points as rarer programs write them, and other files under a scan's name: `UNUSUAL`."""

from __future__ import annotations

import gzip
import io
import re
import struct
import zipfile
from collections.abc import Callable

import numpy as np

from . import scans
from .cases import Case, Random, of_scan, replaced

KIND = "unusual"


def unusual(number: int, random: Random) -> Case:
    """The case of that number; chance has no part in it."""
    return UNUSUAL[number]()


def _obj(
    change: Callable[[str], str | bytes], *, library: bytes | None = None, picture: str = scans.PICTURE
) -> Callable[[], Case]:
    """An OBJ, its text changed; `library`: another .mtl beside it."""

    def make() -> Case:
        files = scans.scan("obj")
        files[picture] = files.pop(scans.PICTURE)
        text = change(files["scan.obj"].decode())
        files["scan.obj"] = text if isinstance(text, bytes) else text.encode()
        if library is not None:
            files["scan.mtl"] = library
        return of_scan(KIND, files, "scan.obj")

    return make


def _same(text: str) -> str:
    return text


def _file(name: str, data: bytes, **more: bytes) -> Callable[[], Case]:
    return lambda: of_scan(KIND, {name: data, **more}, name)


def _ply(head: str, body: str | bytes, *, ends: str = "\n") -> Callable[[], Case]:
    text = f"ply\n{head}end_header\n".replace("\n", ends).encode("latin-1")
    return _file("scan.ply", text + (body if isinstance(body, bytes) else body.encode()))


def _zip(name: str, *, bomb: bool = False) -> bytes:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED if bomb else zipfile.ZIP_STORED) as pack:
        for entry, data in (
            (name, bytes(300_000_000) if bomb else scans.scan("usda")["scan.usda"]), (scans.PICTURE, scans.png(16, 16)),
        ):  # fmt: skip
            pack.writestr(zipfile.ZipInfo(entry), data, pack.compression)  # without the hour at which it was written
    return out.getvalue()


ASCII = "format ascii 1.0\n"
XYZ = "property float x\nproperty float y\nproperty float z\n"
FACES = "element face 6\nproperty list uchar int vertex_indices\n"
POINTS = "0 0 0\n10 0 0\n10 10 0\n0 10 0\n5 5 20\n"
PYRAMID = "3 0 1 4\n3 1 2 4\n3 2 3 4\n3 3 0 4\n3 0 2 1\n3 0 3 2\n"
CORNERS = np.array([line.split() for line in POINTS.splitlines()], "<f4")
TRIANGLES = np.array([line.split()[1:] for line in PYRAMID.splitlines()], "<i4")
QUADS = "element face 5\nproperty list uchar int vertex_indices\n"
PAGE = b"<!DOCTYPE html>\n<html><head><title>Sign in</title></head><body>v 1 2 3 f 1 2 3</body></html>\n"
POINTER = b"version https://git-lfs.github.com/spec/v1\noid sha256:4d7a2146\nsize 12345678\n"


def _rows(kinds: str, values: Callable[[int], tuple[float, ...]], order: str = "<") -> bytes:
    """Binary rows of the five points, each with further values."""
    return b"".join(struct.pack(order + kinds, *CORNERS[row].tolist(), *values(row)) for row in range(5))


def _binary_faces(order: str = "<", count: str = "B", item: str = "i") -> bytes:
    return b"".join(struct.pack(f"{order}{count}3{item}", 3, *row.tolist()) for row in TRIANGLES)


def _coloured(text: str, *, full: float, every: int = 1) -> str:
    """Colours in the lines of the vertices, as several programs write them."""
    lines, place = [], 0
    for line in text.splitlines():
        if line.startswith("v ") and (place := place + 1) % every == 0:
            line += f" {full * (place % 5) / 5:g} {full * 0.5:g} {full * 0.25:g}"
        lines.append(line)
    return "\n".join(lines)


OBJ_TEXTS: tuple[Callable[[], Case], ...] = (
    _obj(lambda text: _coloured(text, full=255)),
    _obj(lambda text: _coloured(text, full=1.0, every=3)),
    _obj(lambda text: re.sub("(?m)^(v .*)$", r"\1 0 nan 7", text)),
    _obj(lambda text: re.sub(r"(?m)^f (\d+)/\d+ (\d+)/\d+ (\d+)/\d+", r"f \1//9 \2//9 \3//9", text)),
    _obj(lambda text: re.sub(r"(?m)^f (\d+)/\d+ (\d+)/\d+ (\d+)/\d+", r"f \1/ \2/ \3/", text)),
    _obj(lambda text: re.sub(r"(?m)^f (\d+)/\d+", r"f \1/999999", text)),
    _obj(lambda text: text.replace("f 1/1 ", f"f {2**31}/1 ", 1).replace("f 2/2 ", f"f {2**64}/1 ", 1)),
    _obj(lambda text: text.replace("f 1/1 ", f"f -{2**31}/1 ", 1)),
    _obj(lambda text: "\n".join(sorted(text.splitlines(), reverse=True)) + "\n"),
    _obj(lambda text: "\n".join(sorted(text.splitlines())) + "\n"),
    _obj(
        lambda text: text + "vp 0.1 0.2\nl 1 2 3 4\np 1 2 3\nsurf 0 1 0 1 1 2 3\ntrim 0 1 1\nend\ncall other.obj 1\nsh rm x\n"
    ),
    _obj(lambda text: text + "g " + " ".join(f"g{n}" for n in range(3000)) + "\nf 1 2 3\n"),
    _obj(replaced("usemtl clay\n", "".join(f"usemtl m{n}\nf 1 2 3\n" for n in range(1500)))),
    _obj(replaced("usemtl clay", "usemtl")),
    _obj(lambda text: text.rstrip("\n") + "\n\n\n#\n# \xfc\0\n"),
    _obj(lambda text: text.encode() + bytes(4096)),
    _obj(lambda text: re.sub(r"(?m)^v (\S+)", r"v +\1f", text)),
    _obj(lambda text: re.sub(r"(?m)^v (-?)(\d+)\b(?!\.)", r"v \1\2.", text)),
    _obj(lambda text: text.replace("\nv ", "\nV ").replace("\nf ", "\nF ").replace("\nvt ", "\nVT ")),
    _obj(lambda text: re.sub(r"(?m)^vt .*$", "vt 0 0", text)),
    _obj(lambda text: re.sub(r"(?m)^vt (\S+) (\S+)$", r"vt 1e5\1 -3\2", text)),
    _obj(lambda text: re.sub(r"(?m)^vt (\S+) (\S+)$", r"vt \1", text)),
    _obj(lambda text: "v 0 0 0\nv 1 0 0\nf 1 2 2\n"),
    _obj(lambda text: "v 0 0 0\nv 1 0 0\nv 0 1 0\nl 1 2\nl 2 3\n"),
    _obj(lambda text: "v 0 0 0\nv 50 0 0\nv 0 50 0\nf 1 2 3\n"),
    _obj(lambda text: text + "f 1 2 3\n" * 50_000),
    _obj(lambda text: text.replace("f ", "f 1/1 2/2 3/3 1/1 5/5 2/2 9/9 9/9 9/9\nf ", 1)),
    _obj(lambda text: re.sub(r"(?m)^v (\S+) (\S+) (\S+)$", r"v \1 \2", text)),
    _obj(lambda text: re.sub(r"(?m)^v (\S+) (\S+) (\S+)$", r"v \1 \2 \3 0.0", text)),
    _obj(replaced("0", "\u0660")),
    _obj(replaced(" ", "\u00a0")),
    _obj(lambda text: "mtllib " + "x/" * 3000 + "scan.mtl\n" + text),
    _obj(replaced("mtllib scan.mtl", 'mtllib "scan.mtl"')),
    _obj(replaced("mtllib scan.mtl", "mtllib\tscan.mtl\t")),
    _obj(replaced("mtllib scan.mtl", ".\\scan.mtl\nmtllib .\\scan.mtl")),
    _obj(_same, library="newmtl clay\nmap_Kd colour.png\n".encode("utf-16")),
    _obj(_same, library=b"newmtl clay\nmap_Kd\tcolour.png\t\n"),
    _obj(_same, library=b"newmtl clay\r\rmap_Kd colour.png\r"),
    _obj(_same, library=b'newmtl clay\nmap_Kd -s 1 1 1 -o 0 0 0 -clamp on "my colour.png"\n', picture="my colour.png"),
    _obj(_same, library=b"newmtl clay\nmap_Kd my colour.final.v2.png\n", picture="my colour.final.v2.png"),
    _obj(_same, library="newmtl clay\nmap_Kd käuz.png\n".encode("latin-1"), picture="käuz.png"),
    _obj(_same, library="newmtl clay\nmap_Kd \U0001f989.png\n".encode(), picture="\U0001f989.png"),
    _obj(_same, library=b"newmtl clay\nmap_Kd .\nmap_bump ..\nmap_Pr /\nnorm ~\n"),
    _obj(_same, library=b"newmtl clay\nmap_Kd /dev/stdin\nmap_bump /dev/random\n"),
    _obj(_same, library=b"newmtl clay\nmap_Kd scan.obj\nmap_bump scan.mtl\nnorm job.toml\n"),
    _obj(_same, library=b"newmtl clay\nKd nan inf -1\nd -5\nNs 1e400\nmap_Kd colour.png\n"),
    _obj(_same, library=b"newmtl clay\nmap_Kd colour.png\n" * 4000),
    _obj(_same, library=b"".join(b"newmtl m%d\nmap_Kd no%d.png\n" % (n, n) for n in range(2000))),
    _obj(_same, library=bytes(range(256)) * 40),
    _obj(_same, library=b"newmtl " + b"x" * 200_000 + b"\nmap_Kd " + b"y" * 200_000 + b"\n"),
)
TABLES: tuple[Callable[[], Case], ...] = (
    _ply(f"{ASCII}comment caf\xe9\nobj_info by hand\nelement vertex 5\n{XYZ}{FACES}", POINTS + PYRAMID),
    _ply(f"{ASCII}element vertex 5\n{XYZ}{FACES}", (POINTS + PYRAMID).replace("\n", "\r\n"), ends="\r\n"),
    _ply(f"{ASCII}element vertex 5\n{XYZ}{FACES}", (POINTS + PYRAMID).replace("\n", "\r"), ends="\r"),
    _ply(f"format binary_little_endian 1.0\nelement vertex 5\n{XYZ}{FACES}", CORNERS.tobytes() + _binary_faces(), ends="\r\n"),
    _ply(f"{ASCII.upper()}ELEMENT VERTEX 5\n{XYZ.upper()}{FACES.upper()}", POINTS + PYRAMID),
    _ply(f"  {ASCII}element  vertex   5  \n{XYZ}{FACES}", POINTS + PYRAMID),
    _ply(f"{ASCII}" + f"comment {'x' * 300}\n" * 400 + f"element vertex 5\n{XYZ}{FACES}", POINTS + PYRAMID),
    _ply(
        f"{ASCII}element vertex 5\n" + XYZ.replace("float", "float32") + FACES.replace("uchar int", "uint8 int32"),
        POINTS + PYRAMID,
    ),
    _ply(f"{ASCII}element vertex 5\n" + XYZ.replace("float", "int") + FACES, POINTS + PYRAMID),
    _ply(f"{ASCII}element vertex 5\n" + XYZ.replace("float", "uchar") + FACES, POINTS + PYRAMID),
    _ply(f"{ASCII}element vertex 5\n" + XYZ.replace("float", "half") + FACES, POINTS + PYRAMID),
    _ply(
        f"{ASCII}element vertex 5\n{XYZ}property float x\n{FACES}",
        "\n".join(f"{line} 7" for line in POINTS.splitlines()) + "\n" + PYRAMID,
    ),
    _ply(f"{ASCII}element vertex 5\nproperty float x\nproperty float y\n{FACES}", "0 0\n9 0\n9 9\n0 9\n5 5\n" + PYRAMID),
    _ply(f"{ASCII}element vertex 5\n{XYZ}{QUADS}", POINTS + "4 0 1 2 3\n3 0 1 4\n3 1 2 4\n3 2 3 4\n3 3 0 4\n"),
    _ply(f"{ASCII}element vertex 5\n{XYZ}{QUADS}", POINTS + "4 3 2 1 0\n0\n1 2\n2 2 3\n7 0 1 2 3 4 0 1\n"),
    _ply(f"{ASCII}element vertex 5\n{XYZ}{FACES}", POINTS.replace("\n", " ") + PYRAMID.replace("\n", " ")),
    _ply(f"{ASCII}element vertex 5\n{XYZ}{FACES}", (POINTS + PYRAMID).rstrip("\n")),
    _ply(f"{ASCII}element vertex 5\n{XYZ}{FACES}", "\n\n" + POINTS.replace("\n", "\n\n") + PYRAMID),
    _ply(
        f"{ASCII}element vertex 5\n{XYZ}property uchar red\nproperty uchar green\nproperty uchar blue\n{FACES}",
        "\n".join(f"{line} 300 -4 {place * 0.2}" for place, line in enumerate(POINTS.splitlines())) + "\n" + PYRAMID,
    ),
    _ply(
        f"{ASCII}element vertex 5\n{XYZ}property float red\nproperty float green\nproperty float blue\n{FACES}",
        "\n".join(f"{line} {place * 50} 200 100" for place, line in enumerate(POINTS.splitlines())) + "\n" + PYRAMID,
    ),
    _ply(
        f"{ASCII}element vertex 5\n{XYZ}{FACES}element edge 2\nproperty int vertex1\nproperty int vertex2\n"
        "element material 1\nproperty uchar ambient_red\n",
        POINTS + PYRAMID + "0 1\n1 2\n200\n",
    ),
    _ply(
        f"{ASCII}element camera 1\nproperty float view_px\nproperty list int int seen\nelement vertex 5\n{XYZ}{FACES}",
        "1.5 3 1 2 3\n" + POINTS + PYRAMID,
    ),
    _ply(
        f"{ASCII}element vertex 5\n{XYZ}element face 0\n{FACES.partition(chr(10))[2]}element tristrips 1\n"
        "property list int int vertex_indices\n",
        POINTS + "8 0 1 4 2 3 -1 0 1\n",
    ),
    _ply(
        "format binary_big_endian 1.0\nelement vertex 5\n"
        + XYZ.replace("float", "double")
        + "property uchar red\nproperty uchar green\nproperty uchar blue\n"
        + FACES,
        _rows("dddBBB", lambda row: (row, 200, 9), ">") + _binary_faces(">"),
    ),
    _ply(
        f"format binary_little_endian 1.0\nelement vertex 5\n{XYZ}"
        "property ushort red\nproperty ushort green\nproperty ushort blue\n"
        "property float quality\n" + FACES,
        _rows("fffHHHf", lambda row: (row * 9000, 200, 9, np.nan)) + _binary_faces(),
    ),
    _ply(
        f"format binary_little_endian 1.0\nelement vertex 5\n{XYZ}element face 6\nproperty list char uint vertex_index\n",
        CORNERS.tobytes() + _binary_faces("<", "b", "I"),
    ),
    _ply(
        f"format binary_little_endian 1.0\nelement vertex 5\n{XYZ}element face 6\nproperty list uchar int64 vertex_index\n",
        CORNERS.tobytes() + _binary_faces("<", "B", "q"),
    ),
    _ply(
        f"format binary_little_endian 1.0\nelement vertex 5\n{XYZ}element face 6\nproperty list float float vertex_index\n",
        CORNERS.tobytes() + _binary_faces("<", "f", "f"),
    ),
    _ply(
        f"format binary_little_endian 1.0\nelement vertex 5\n{XYZ}{FACES}", CORNERS.tobytes() + _binary_faces() + b"more" * 500
    ),
    _ply(f"format binary_little_endian 1.0\nelement vertex 4294967295\n{XYZ}{FACES}", CORNERS.tobytes() + _binary_faces()),
    _ply(
        f"format binary_little_endian 1.0\nelement vertex 5\n{XYZ}element face 9999999999999999999\n"
        "property list uchar int vertex_indices\n",
        CORNERS.tobytes() + _binary_faces(),
    ),
    _ply(f"format binary_middle_endian 1.0\nelement vertex 5\n{XYZ}{FACES}", CORNERS.tobytes() + _binary_faces()),
    _ply(f"{ASCII}format ascii 1.0\nelement vertex 5\n{XYZ}element vertex 5\n{XYZ}{FACES}", POINTS + POINTS + PYRAMID),
    _ply(f"{ASCII}property float lost\nelement vertex 5\n{XYZ}{FACES}", POINTS + PYRAMID),
    _ply(f"{ASCII}element\nelement vertex\nelement vertex five\n{XYZ}{FACES}", POINTS + PYRAMID),
)
PLAIN, BINARY = scans.scan("stl_text")["scan.stl"], scans.scan("stl_binary")["scan.stl"]
STLS: tuple[Callable[[], Case], ...] = tuple(
    _file("scan.stl", data)
    for data in (
        PLAIN.replace(b"solid scan", b"solid"),
        PLAIN.replace(b"facet normal 0 0 0", b"facet"),
        PLAIN.replace(b"facet normal 0 0 0", b"facet normal nan nan nan"),
        PLAIN.replace(b"\n", b"\r"),
        PLAIN.replace(b"\n", b" "),
        PLAIN.replace(b"\n", b"\r\n").replace(b"endsolid scan\r\n", b"endsolid"),
        PLAIN.decode().encode("utf-16"),
        b"\xef\xbb\xbf" + PLAIN,
        b"\n\n  " + PLAIN,
        re.sub(rb"vertex (\S+) ", rb"vertex \1D+00 ", PLAIN),
        PLAIN.replace(b"endfacet", b"endfacet\n color 1 0 0"),
        PLAIN.replace(b"outer loop", b"outer loop\n vertex 0 0 0", 1),
        BINARY[:80] + struct.pack("<I", 2**32 - 1) + BINARY[84:],
        b"COLOR=\xff\x00\x00\xff,MATERIAL=".ljust(80, b"\0") + BINARY[80:],
        b"solid \0".ljust(80, b"\0") + BINARY[80:],
        BINARY + BINARY,
        b"facet normal".ljust(80, b" ") + BINARY[80:],
        b"solid facet endfacet endsolid".ljust(80, b" ") + BINARY[80:],
        BINARY[:84] + np.full((len(BINARY) - 84) // 2, 0x7F80, "<u2").tobytes(),
    )
)
OTHERS: tuple[Callable[[], Case], ...] = tuple(
    _file(f"scan{suffix}", data)
    for suffix in (".obj", ".ply", ".stl", ".glb", ".gltf", ".fbx", ".usda", ".usdz", ".usdc")
    for data in (
        PAGE,
        POINTER,
        gzip.compress(scans.scan("obj")["scan.obj"], mtime=0),
        _zip("scan.usda"),
        b"%PDF-1.7\n%\xe2\xe3\n" + PAGE,
        scans.png(16, 16),
        b'{"error": "not found"}',
        b"\x7fELF" + bytes(900),
    )
) + (
    _file("scan.usdz", _zip("../../escaped.usda")),
    _file("scan.usdz", _zip("/tmp/escaped.usda")),
    _file("scan.usdz", _zip("scan.usda", bomb=True)),
    _file("scan.usdz", _zip("a" * 300 + ".usda")),
    _file("scan.usdz", _zip("scan.txt")),
    _file("scan.usdz", _zip("scan.usda")[:-30]),
    _file("scan", scans.scan("obj")["scan.obj"]),
    _file("scan.JPG", scans.png(16, 16)),
    _file("scan.OBJ", PAGE),
)
UNUSUAL: tuple[Callable[[], Case], ...] = (*OBJ_TEXTS, *TABLES, *STLS, *OTHERS)
"""Every case."""
