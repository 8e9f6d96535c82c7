"""Thousands of damaged scans, each reproducible from its number: truncated, bit-flipped, emptied, renamed, linked, misnamed.

`CASES` lists the classes with how many cases each has; `build(number)` gives one. The classes of scans are here, those of job
sheets and of places in `sheets.py`.
"""

from __future__ import annotations

import json
import re
import struct
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from . import scans
from .scans import FORMATS, MAIN, TEXTS

SHEET = 'bozzetto = 1\n[intake]\nscan = "{}"\n'
BINARY = ("ply_binary", "ply_big", "stl_binary", "glb", "fbx_binary")
WEIRD_NUMBERS = (
    "nan", "-nan", "inf", "-inf", "1e400", "-1e400", "1e-400", "9" * 400, "0x10", "", "-", "--1", "1e", "1,5", "1/0", "NaN(1)",
    "1.#QNAN", "1e38", "-1e38", "3.5e38", "4.0", "-1", "99999999", "2147483648", "-2147483649", "1e10", "1e-30",
)  # fmt: skip
WEIRD_VALUES: tuple[Any, ...] = (
    -1, 0, 1, 4.0, 0.5, 10**18, 10**400, 2**31, 2**32 - 1, 2**53, -(2**31), 1e308, True, None, "", "x", "0", "../x", [], {},
    [[]],
    [0], ["a"], {"a": 1}, [None], "NaN", "data:,", "data:image/png;base64,AAAA", "\0", "x" * 3000, 5120, 5126, "VEC3", "SCALAR",
)  # fmt: skip

Random = np.random.Generator


@dataclass
class Case:
    """One case: its class, the files to lay down (name to bytes), the sheet (text or bytes), and what is done to the folder
    last. `out` names the folder of results below the case's own folder."""

    kind: str
    files: dict[str, bytes]
    sheet: bytes
    prepare: Callable[[Path], None] | None = None
    out: str = "out"
    results: dict[str, bytes] = field(default_factory=dict)


def of_scan(kind: str, files: dict[str, bytes], main: str, *, prepare: Callable[[Path], None] | None = None) -> Case:
    """A case of a scan, on the plainest sheet; the name is written as TOML wants it."""
    return Case(kind, files, f"bozzetto = 1\n[intake]\nscan = {json.dumps(main)}\n".encode(), prepare)


def replaced(old: str, new: str) -> Callable[[str], str]:
    """A change of a text: `new` wherever it says `old`, which it must say."""

    def change(text: str) -> str:
        if old not in text:
            raise ValueError(f"the text does not say {old!r}")
        return text.replace(old, new)

    return change


def _format(random: Random, among: tuple[str, ...] = FORMATS) -> str:
    return str(random.choice(among))


def _spoilt(kind: str, random: Random, spoil: Callable[[bytes, Random], bytes], among: tuple[str, ...] = FORMATS) -> Case:
    format = _format(random, among)
    files = scans.scan(format)
    name = MAIN[format]
    if format == "gltf" and random.random() < 0.3:
        name = "scan.bin"
    if format == "obj" and random.random() < 0.15:
        name = "scan.mtl"
    files[name] = spoil(files[name], random)
    return of_scan(kind, files, MAIN[format])


def valid(number: int, random: Random) -> Case:
    """A sound scan of a shape of its own, format after format."""
    format = FORMATS[number % len(FORMATS)]
    return of_scan("valid", scans.scan(format, scans.figure(number)), MAIN[format])


def cut(number: int, random: Random) -> Case:
    """Only the beginning of a file."""
    return _spoilt("cut", random, lambda data, r: data[: int(len(data) * r.random() ** 2)])


def headless(number: int, random: Random) -> Case:
    """Only the end of a file."""
    return _spoilt("headless", random, lambda data, r: data[int(len(data) * r.random() ** 3) + 1 :])


def flipped(number: int, random: Random) -> Case:
    """One, a few or many bytes are others; near the beginning, where the structure is, as often as anywhere."""

    def spoil(data: bytes, r: Random) -> bytes:
        changed = bytearray(data)
        reach = min(len(data), int(r.choice([64, 400, len(data)])))
        for place in r.integers(0, reach, int(r.choice([1, 3, 30]))):
            changed[place] = r.integers(0, 256)
        return bytes(changed)

    return _spoilt("flipped", random, spoil)


def blanked(number: int, random: Random) -> Case:
    """A stretch of zeros, of spaces or of the same letter, or a stretch that stands twice."""

    def spoil(data: bytes, r: Random) -> bytes:
        start = int(r.integers(0, len(data)))
        length = int(r.integers(1, len(data) - start + 1))
        filling = r.choice(4)
        if filling == 3:
            return data[: start + length] + data[start:]
        return data[:start] + (b"\0", b" ", b"9")[filling] * length + data[start + length :]

    return _spoilt("blanked", random, spoil)


def emptied(number: int, random: Random) -> Case:
    """Nothing, one byte, or the mark of the format alone."""
    marks = (b"", b"\0", b"\n", b"{", b"{}", b"[]", b"glTF", b"glTF\2\0\0\0\x0c\0\0\0", b"ply\n",
    b"ply\nformat ascii 1.0\nend_header\n",
             b"solid", b"#usda 1.0\n", b"PXR-USDC", b"PK\3\4", b"Kaydara FBX Binary  \0\x1a\0", b"; FBX 7.4.0\n", b"v\nf\n",
             b"v 0 0 0\nf 1 1 1\n", b"\xef\xbb\xbf", b"\xff\xfe")  # fmt: skip
    return _spoilt("emptied", random, lambda data, r: marks[int(r.integers(len(marks)))])


def other_numbers(number: int, random: Random) -> Case:
    """Numbers in a text that are none, or far too large, or of another kind."""

    def spoil(data: bytes, r: Random) -> bytes:
        places = list(re.finditer(rb"(?<![\w.])-?\d+\.?\d*(?:e[-+]?\d+)?", data))
        for match in sorted(
            (places[at] for at in r.integers(0, len(places), int(r.choice([1, 2, 40])))), key=lambda m: -m.start()
        ):
            word = WEIRD_NUMBERS[int(r.integers(len(WEIRD_NUMBERS)))].encode()
            data = data[: match.start()] + word + data[match.end() :]
        return data

    return _spoilt("other numbers", random, spoil, TEXTS)


def other_floats(number: int, random: Random) -> Case:
    """Coordinates in binary data that are not numbers or far too large, some or all."""

    def spoil(data: bytes, r: Random) -> bytes:
        changed = bytearray(data)
        value = struct.pack("<f", float(r.choice([np.nan, np.inf, -np.inf, 3e38, -3e38, 1e-44, 0.0, 1e20])))
        first = 4 * int(r.integers(0, len(data) // 4))
        step = int(r.choice([4, 12, 40, 52, len(data)]))
        for place in range(first, len(data) - 4, step):
            changed[place : place + 4] = value
        return bytes(changed)

    return _spoilt("other floats", random, spoil, BINARY)


def other_description(number: int, random: Random) -> Case:
    """One to three values of a glTF's description are of another kind, too large, or gone."""
    format = _format(random, ("glb", "gltf"))
    files = scans.scan(format)
    data = files[MAIN[format]]
    length = struct.unpack_from("<I", data, 12)[0] if format == "glb" else len(data)
    content = json.loads(data[20 : 20 + length] if format == "glb" else data)
    for _ in range(int(random.choice([1, 1, 3]))):
        places = list(_places(content))
        owner, key = places[int(random.integers(len(places)))]
        if random.random() < 0.15:
            del owner[key]
        else:
            owner[key] = WEIRD_VALUES[int(random.integers(len(WEIRD_VALUES)))]
    text = json.dumps(content).encode()
    files[MAIN[format]] = scans.glb_of_text(text, data[28 + length :]) if format == "glb" else text
    return of_scan("other description", files, MAIN[format])


def _places(content: Any) -> Any:
    """Every (owner, key) of a description, depth first."""
    rows = list(content.items()) if isinstance(content, dict) else list(enumerate(content))
    for key, value in rows:
        yield content, key
        if isinstance(value, (dict, list)):
            yield from _places(value)


def promised(number: int, random: Random) -> Case:
    """A header that announces more than there is."""
    count = int(random.choice([0, 1, 10**6, 2**31 - 1, 2**31, 2**32 - 1, 10**12, -1]))
    format = _format(random, ("ply_text", "ply_binary", "stl_binary", "glb", "fbx_binary"))
    files = scans.scan(format)
    data = files[MAIN[format]]
    if format.startswith("ply"):
        name = str(random.choice(["vertex", "face"])).encode()
        data = re.sub(b"element " + name + rb" \d+", b"element " + name + b" %d" % count, data)
    elif format == "stl_binary":
        data = data[:80] + struct.pack("<I", count % 2**32) + data[84:]
    elif format == "glb":
        data = re.sub(rb'"count": \d+', b'"count": %d' % count, data)
        length = struct.unpack_from("<I", files[MAIN[format]], 12)[0]
        text = data[20 : len(data) - (len(files[MAIN[format]]) - 20 - length)]
        data = scans.glb_of_text(text, files[MAIN[format]][28 + length :])
    else:
        place = data.index(b"Vertices") + 9
        data = data[:place] + struct.pack("<I", count % 2**32) + data[place + 4 :]
    files[MAIN[format]] = data
    return of_scan("promised", files, MAIN[format])


def shapeless(number: int, random: Random) -> Case:
    """All points at one place, on a line, in a plane, at another scale, twisted, loose, or far away."""
    figure = scans.figure(number)
    points, faces = figure.points.copy(), figure.faces
    how = number % 12
    if how == 0:
        points[:] = points[0]
    elif how < 4:
        points[:, how - 1] = 0.0
    elif how == 4:
        points[:, :2] = 0.0
    elif how == 5:
        points *= 10.0 ** int(random.integers(-14, 15))
    elif how == 6:
        faces = random.integers(0, len(points), faces.shape)
    elif how == 7:
        faces = faces[:, ::-1]
    elif how == 8:
        faces = faces[random.random(len(faces)) < random.uniform(0.0, 0.5)]
    elif how == 9:
        points += 10.0 ** int(random.integers(3, 9))
    elif how == 10:
        points, faces = (
            points[faces].reshape(-1, 3) + random.normal(size=(faces.size, 3)) * 3.0,
            np.arange(faces.size).reshape(-1, 3),
        )
    else:
        faces = np.concatenate([faces] * 3)
    uv = np.zeros((len(points), 2)) if len(points) != len(figure.uv) else figure.uv
    format = _format(
        random, ("obj", "ply_binary", "stl_binary", "glb", "usda", "fbx_text") if len(faces) else ("obj", "ply_text")
    )
    return of_scan("shapeless", scans.scan(format, scans.Figure(points, faces, uv)), MAIN[format])


def swapped(number: int, random: Random) -> Case:
    """The content of one format under the name of another."""
    content, name = FORMATS[number % len(FORMATS)], FORMATS[(number // len(FORMATS) + number + 1) % len(FORMATS)]
    files = scans.scan(content)
    files[MAIN[name]] = files.pop(MAIN[content])
    return of_scan("swapped", files, MAIN[name])


def packed(number: int, random: Random) -> Case:
    """A scan packed with Draco compression, sound or with bytes of the packed mesh or of the description changed."""
    data = scans.draco_glb(scans.figure(number % 5))
    length = struct.unpack_from("<I", data, 12)[0]
    changed = bytearray(data)
    start, end = ((28 + length, len(data)), (28 + length, 28 + length + 40), (20, 20 + length))[number % 3]
    for place in random.integers(start, end, int(random.choice([0, 1, 3, 30]))):
        changed[place] = random.integers(0, 256)
    return of_scan("packed", {"scan.glb": bytes(changed)}, "scan.glb")


SCAN_CLASSES: dict[Callable[[int, Random], Case], int] = {
    valid: 44, cut: 200, headless: 60, flipped: 330, blanked: 110, emptied: 60, other_numbers: 160, other_floats: 120,
    other_description: 260, promised: 60, shapeless: 96, swapped: 110, packed: 60,
}  # fmt: skip
"""Class to number of cases."""
