"""Which pictures does an OBJ's material library name, part by part?"""

from __future__ import annotations

import re
from pathlib import Path

_MAPS = {
    "map_kd": "base", "map_ke": "glow", "map_ka": "ambient", "norm": "normal", "map_bump": "bump", "bump": "bump",
    "map_pr": "roughness",
}  # fmt: skip
_OPTIONS = {"-blendu": 1, "-blendv": 1, "-cc": 1, "-clamp": 1, "-texres": 1, "-bm": 1, "-imfchan": 1, "-boost": 1,
            "-mm": 2, "-o": 3, "-s": 3, "-t": 3, "-type": 1}  # fmt: skip
"""Options before a map's file name, and how many values each takes at most."""


MOST = 1 << 24
"""Bytes of a material library that are read; a scan's has some hundred."""


def text_of(data: bytes) -> str:
    """The text of a material library: UTF-8 or UTF-16 where it says or reads so, else Latin-1, as older programs write."""
    if data[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return data.decode("utf-16", "replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        return data.decode("latin-1")


def obj_libraries(path: Path) -> list[str]:
    """The .mtl files that an OBJ names in its first block, and the one of its own name."""
    with path.open("rb") as file:
        start = file.read(1 << 16)
    named = [text_of(match.group(1)).strip() for match in re.finditer(rb"(?m)^mtllib[ \t]+([^\r\n]+)", start)]
    return list(dict.fromkeys([*named, path.stem + ".mtl"]))


def read_mtl(text: str) -> dict[str, dict[str, str]]:
    """Material name to {part: file name as written}. Map options are skipped, with as many numbers as each takes."""
    found: dict[str, dict[str, str]] = {}
    current: dict[str, str] | None = None
    for line in text.splitlines():
        key, _, rest = line.strip().replace("\t", " ").partition(" ")
        key, rest = key.lower(), rest.strip()
        if key == "newmtl":
            current = found.setdefault(rest, {})
        elif key in _MAPS and current is not None and rest:
            current.setdefault(_MAPS[key], _map_file(rest))
    return found


def _map_file(rest: str) -> str:
    parts = rest.split(" ")
    while parts and parts[0].lower() in _OPTIONS:
        most = _OPTIONS[parts[0].lower()]
        parts = parts[1:]
        taken = 0
        while parts and taken < most and (most == 1 or re.fullmatch(r"[-+.\deE]+", parts[0])):
            parts, taken = parts[1:], taken + 1
    return " ".join(parts).strip().strip('"')
