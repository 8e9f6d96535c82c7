"""Faulty surroundings of a scan, and faulty job sheets: encodings, names, links, pictures, references, paths, numbers."""

from __future__ import annotations

import json
import os
import re
import socket
import struct
from collections.abc import Callable
from pathlib import Path

import numpy as np

from . import scans
from .cases import SCAN_CLASSES, SHEET, WEIRD_NUMBERS, Case, Random, of_scan
from .devised import DEVISED, devised
from .forms import FORMS
from .scans import MAIN, PICTURE
from .unusual import UNUSUAL, unusual
from .unusual_scenes import SCENES, scene

NAMES = (
    "a b.obj", "ü.obj", "u\u0308.obj", "\u6885.obj", "\U0001f989.obj", "a'b.obj", 'a"b.obj', "a%20b.obj", "a#b.obj", "-a.obj",
    "--help.obj", "a;b.obj", "a&b.obj", "$HOME.obj", "`a`.obj", "{job}.obj", "a\nb.obj", "a\tb.obj", ".obj", "..obj",
    "a.obj.obj",
    "A.OBJ", "con.obj", "a" * 200 + ".obj", "a\\b.obj", "<b>.obj", "a*.obj", "a?.obj", "~.obj", " .obj", "a.obj ",
    "é" * 100 + ".obj",
)  # fmt: skip
ENCODINGS = ("utf-8-sig", "utf-16", "utf-16-le", "utf-32", "latin-1", "cp1252", "cp437", "shift_jis")
SHEET_WORDS = """bozzetto = 1
name = "owl"
[intake]
unit = "mm"
find_textures = true
[[intake.scans]]
file = "scan.obj"
role = "whole"
[cleanup]
table = true
loose = 1.0
budget = 500000
crop_low = [-100.0, -100.0, -100.0]
[orientation]
height = 80.0
up = "z"
keep_lean = false
point_a = [0.0, 0.0, 0.0]
"""
WEIRD_WORDS = (
    *WEIRD_NUMBERS, "true", "false", '""', '"x"', "[]", "{}", "[1, 2]", "[[[]]]", "{a = 1}", "1979-05-27", "07:32:00",
    "'''x'''",
    '"\\u0000"', '"' + "x" * 5000 + '"', "[" * 2000 + "]" * 2000, '"../../etc/passwd"', '"~nobody/x"', "1e9", "-0.0", "+nan",
    '"nan"',
    "0b1", "1_000",
)  # fmt: skip


def encoded(number: int, random: Random) -> Case:
    """A text in another encoding or with other ends of lines, its names with letters that are not ASCII."""
    format = str(random.choice(["obj", "ply_text", "stl_text", "gltf", "usda"]))
    files = scans.scan(format, picture="käuz.png") if format == "obj" else scans.scan(format)
    names = [name for name in files if name.endswith((".obj", ".mtl", ".ply", ".stl", ".gltf", ".usda"))]
    for name in names:
        text = files[name].decode().replace("clay", "Tön").replace("figure", "Eüle")
        ends = ("\n", "\r\n", "\r", "\n\n", " \n")[int(random.integers(5))]
        coding = ENCODINGS[int(random.integers(len(ENCODINGS)))]
        files[name] = text.replace("\n", ends).encode(coding, "replace")
    return of_scan("encoded", files, MAIN[format])


def named(number: int, random: Random) -> Case:
    """A name that systems, programs or shells take amiss."""
    name = NAMES[number % len(NAMES)]
    return of_scan("named", {name: scans.scan("obj")["scan.obj"]}, name)


def linked(number: int, random: Random) -> Case:
    """The scan, its library, its data or its picture is a link, a pipe, a socket, a folder, a device, or not there."""
    format = ("obj", "gltf", "fbx_binary", "usda")[number % 4]
    others = {"obj": ("scan.mtl", PICTURE), "gltf": ("scan.bin", PICTURE)}.get(format, (PICTURE, PICTURE))
    target = (MAIN[format], *others)[number // 4 % 3]
    files = scans.scan(format)
    data, how = files.pop(target), number // 12 % 10

    def prepare(folder: Path) -> None:
        place, store = folder / target, folder.parent / "store"
        store.mkdir(exist_ok=True)
        if how in (0, 1, 2):
            real = (folder / "real.bin", store / "real.bin", folder / "real")[how]
            real.write_bytes(data)
            place.symlink_to(real)
        elif how == 3:
            place.symlink_to(target)
        elif how == 4:
            place.symlink_to(folder / "none")
        elif how == 5:
            os.mkfifo(place)
        elif how == 6:
            place.mkdir()
        elif how == 7:
            place.symlink_to("/dev/zero")
        elif how == 8:
            with socket.socket(socket.AF_UNIX) as end:
                end.bind(str(place))
        # 9: it is not there

    return Case("linked", files, SHEET.format(MAIN[format]).encode(), prepare)


def pictured(number: int, random: Random) -> Case:
    """A picture that is cut, flipped, promises too much, or is none."""
    plain = scans.png(16, 16)
    start = np.array(list(plain), np.uint8)
    start[int(random.integers(8, 60))] = random.integers(0, 256)
    makes: tuple[Callable[[], bytes], ...] = (
        lambda: plain[: int(random.integers(0, len(plain)))],
        start.tobytes,
        lambda: scans.png(100_000, 100_000, pixels=b"\0" * 100),
        lambda: scans.png(16_000, 16_000, pixels=b"\0" * 100),
        lambda: scans.png(1, 1),
        lambda: scans.png(1, 4000),
        lambda: scans.png(16, 16, bits=16),
        lambda: scans.png(16, 16, kind=int(random.choice([0, 3, 4, 6]))),
        lambda: scans.png(16, 16, bits=1, kind=0),
        lambda: b"",
        lambda: b"GIF89a" + bytes(200),
        lambda: b"#EXTM3U\n#EXTINF:1,\nhttp://127.0.0.1:9/x.ts\n",
        lambda: b"BM" + struct.pack("<IHHIIiiHHI", 90, 0, 0, 54, 40, 60_000, 60_000, 1, 24, 0) + bytes(36),
        lambda: b"II\x2a\0\x08\0\0\0" + struct.pack("<HHHII", 2, 256, 4, 1, 2**31) + struct.pack("<HHII", 257, 4, 1, 2**31),
        lambda: b"\x76\x2f\x31\x01\x02\0\0\0dataWindow\0box2i\0" + struct.pack("<i4i", 16, 0, 0, 2**30, 2**30) + b"\0",
        lambda: b"\xff\xd8\xff\xc0" + struct.pack(">HBHHB", 17, 8, 65535, 65535, 3) + bytes(9) + b"\xff\xd9",
        lambda: b"RIFF" + struct.pack("<I", 22) + b"WEBPVP8X" + struct.pack("<II", 10, 0) + b"\xff\xff\xff\xff\xff\xff",
        lambda: bytes(18),
        lambda: b"\0\0\2" + bytes(9) + struct.pack("<HHBB", 60_000, 60_000, 24, 0),
    )
    data = makes[number % len(makes)]()
    suffix = (".png", ".jpg", ".tga", ".exr", ".bmp", ".webp", ".tif", ".png")[number // len(makes) % 8]
    format = ("obj", "gltf", "usda", "fbx_text", "glb")[number % 5]
    files = scans.scan(format, picture=f"colour{suffix}")
    if format == "glb":  # its picture lies within
        at = files["scan.glb"].index(b"\x89PNG")
        files["scan.glb"] = files["scan.glb"][:at] + (data + bytes(5000))[: len(files["scan.glb"]) - at]
    else:
        files[f"colour{suffix}"] = data
    return of_scan("pictured", files, MAIN[format])


def reaching(number: int, random: Random) -> Case:
    """A scan that names a picture, data or a library which lies elsewhere: `..`, absolute, another computer, an address."""
    wanted = ("../store/secret.png", "ABSOLUTE", "..\\store\\secret.png", "//server/share/secret.png", "C:\\secret.png",
              "http://127.0.0.1:9/secret.png", "/etc/passwd", "/dev/zero", "/proc/self/mem", "file:///etc/passwd",
              "%2e%2e/store/secret.png",
              "\\\\server\\share\\secret.png", "<UDIM>.png", "a\0b.png", "./././colour.png")  # fmt: skip
    written = wanted[number % len(wanted)]
    format = ("obj", "gltf", "usda", "fbx_text", "fbx_binary")[number // len(wanted) % 5]
    files = scans.scan(format, picture="PICTURENAME")
    files[PICTURE] = files.pop("PICTURENAME")

    def prepare(folder: Path) -> None:
        store = folder.parent / "store"
        store.mkdir(exist_ok=True)
        (store / "secret.png").write_bytes(scans.png(16, 16, seed=9))
        path = written.replace("ABSOLUTE", str(store / "secret.png"))
        if format == "fbx_binary":
            scan_files = scans.scan(format, picture=path)
            (folder / MAIN[format]).write_bytes(scan_files[MAIN[format]])
            return
        name = "scan.mtl" if format == "obj" else MAIN[format]
        text = json.dumps(path)[1:-1] if format == "gltf" else path
        (folder / name).write_bytes((folder / name).read_bytes().replace(b"PICTURENAME", text.encode()))

    return Case("reaching", files, SHEET.format(MAIN[format]).encode(), prepare)


# --- sheets ----------------------------------------------------------------------------------------------------------------


def _sheet(kind: str, text: str | bytes) -> Case:
    return Case(kind, scans.scan("obj"), text.encode("utf-8", "surrogatepass") if isinstance(text, str) else text)


def sheet_bytes(number: int, random: Random) -> Case:
    """A sheet that is cut, flipped, in another encoding, empty, or no text."""
    data = SHEET_WORDS.encode()
    how = number % 5
    if how == 0:
        return _sheet("sheet bytes", data[: int(random.integers(0, len(data)))])
    if how == 1:
        changed = bytearray(data)
        for place in random.integers(0, len(data), int(random.choice([1, 4, 30]))):
            changed[place] = random.integers(0, 256)
        return _sheet("sheet bytes", bytes(changed))
    if how == 2:
        return _sheet(
            "sheet bytes", SHEET_WORDS.replace("owl", "Käuzchen").encode(ENCODINGS[number // 5 % len(ENCODINGS)], "replace")
        )
    if how == 3:
        return _sheet("sheet bytes", SHEET_WORDS.replace("\n", ("\r\n", "\r", "\n\n", "\0\n", "\n\t")[number // 5 % 5]))
    ends = (
        b"",
        b"\0" * 100,
        b"\xff\xfe",
        b"\xef\xbb\xbf",
        b"#" * 100_000,
        b"a" * 100_000,
        bytes(range(256)),
        b"[" * 5000,
        b"\n" * 9999,
    )
    return _sheet("sheet bytes", ends[number // 5 % len(ends)])


def sheet_values(number: int, random: Random) -> Case:
    """Values of other kinds, too large, nested, or paths that can be none."""
    lines = SHEET_WORDS.splitlines()
    for _ in range(int(random.choice([1, 1, 2]))):
        at = int(random.choice([row for row, line in enumerate(lines) if " = " in line]))
        key = lines[at].split(" = ")[0]
        lines[at] = f"{key} = {WEIRD_WORDS[int(random.integers(len(WEIRD_WORDS)))]}"
    return _sheet("sheet values", "\n".join(lines) + "\n")


def sheet_keys(number: int, random: Random) -> Case:
    """Keys and tables that are unknown, doubled, moved or misspelt."""
    text = SHEET_WORDS
    words = sorted(set(re.findall(r"[a-z_]+", text)))
    word = words[int(random.integers(len(words)))]
    news = (
        word + "x",
        word[1:],
        word.upper(),
        "",
        "x" * 500,
        f'"{word}"',
        f"{word}.{word}",
        f"a.{word}",
        "ü",
        "__class__",
        "None",
    )
    new = news[int(random.integers(len(news)))]
    changed = re.sub(rf"\b{word}\b", new.replace("\\", r"\\"), text, count=int(random.choice([1, 9])))
    if random.random() < 0.2:
        changed += text
    return _sheet("sheet keys", changed)


def sheet_paths(number: int, random: Random) -> Case:
    """Paths of scans that lead nowhere, elsewhere, or to what is not a mesh."""
    paths = ("", " ", ".", "..", "/", "//", "~", "~nobody", "none.obj", "scan.mtl", PICTURE, "a" * 5000,
    "a/" * 2000 + "x.obj", "scan.obj/x",
             "scan.obj/", "SCAN.OBJ", "scan.ob", "/dev/null", "/dev/zero", "/dev/stdin", "/proc/self/mem", "/etc",
             "\\scan.obj", "C:\\scan.obj",
             "//server/scan.obj", "http://127.0.0.1:9/scan.obj", "file:scan.obj", "scan.obj\0", "\0", "scan\n.obj",
             "../store/scan.obj",
             "job.toml", "$HOME/scan.obj", "*.obj", "scan.obj ", "\u202escan.obj", "ü.obj", "-", "--out")  # fmt: skip
    shown = json.dumps(paths[number % len(paths)], ensure_ascii=True)
    return _sheet("sheet paths", f"bozzetto = 1\n[intake]\nscan = {shown}\n")


def places(number: int, random: Random) -> Case:
    """A folder of results that is a file, lies in one, can't be written, or holds damaged figures."""
    case = of_scan("places", scans.scan("obj"), "scan.obj")
    how = number % 12
    if how < 6:
        case.out = ("in/scan.obj", "in/scan.obj/out", "/proc/out", "/dev/null", "a" * 300, "x/" * 40 + "out")[how]
    else:
        bad: tuple[bytes, ...] = (b"", b"[1, 2]", b"7", b'"x"', b"{", b"[" * 5000)
        case.results = {name: bad[how - 6] for name in ("figures.json", ".made.json")}
    return case


AROUND: dict[Callable[[int, Random], Case], int] = {
    encoded: 90, named: len(NAMES), linked: 120, pictured: 114, reaching: 75, sheet_bytes: 100, sheet_values: 130,
    sheet_keys: 70,
    sheet_paths: 39, places: 12, devised: len(DEVISED),
}  # fmt: skip
LATER: dict[Callable[[int, Random], Case], int] = {unusual: len(UNUSUAL), scene: len(SCENES)}
CLASSES: dict[Callable[[int, Random], Case], int] = {**SCAN_CLASSES, **AROUND, **FORMS, **LATER}
COUNT = sum(CLASSES.values())


def numbers_of() -> dict[str, list[int]]:
    """The numbers of the cases, class by class."""
    found, start = {}, 0
    for make, count in CLASSES.items():
        found[make.__name__] = list(range(start, start + count))
        start += count
    return found


def build(number: int) -> Case:
    """The case of that number, from 0 to COUNT - 1; always the same."""
    place = number
    for make, count in CLASSES.items():
        if place < count:
            return make(place, np.random.default_rng([7, number]))
        place -= count
    raise ValueError(f"there are {COUNT} cases, so there is no number {number}")
