"""Which pictures does an OBJ's material library name, part by part?"""

from __future__ import annotations

import re
from pathlib import Path

_MAPS = {
    "map_kd": "base", "map_ka": "ambient", "norm": "normal", "map_bump": "bump", "bump": "bump", "map_pr": "roughness",
}  # fmt: skip
_OPTIONS = {"-blendu": 1, "-blendv": 1, "-cc": 1, "-clamp": 1, "-texres": 1, "-bm": 1, "-imfchan": 1, "-boost": 1,
            "-mm": 2, "-o": 3, "-s": 3, "-t": 3, "-type": 1}  # fmt: skip


def obj_libraries(path: Path) -> list[str]:
    """The .mtl files that an OBJ names in its first block, and the one of its own name."""
    with path.open("rb") as file:
        start = file.read(1 << 16)
    named = [match.group(1).decode("utf-8", "replace").strip() for match in re.finditer(rb"(?m)^mtllib[ \t]+([^\r\n]+)", start)]
    return list(dict.fromkeys([*named, path.stem + ".mtl"]))


def read_mtl(text: str) -> dict[str, dict[str, str]]:
    """Material name to {part: file name as written}. Map options are skipped, with as many numbers as each takes."""
    found: dict[str, dict[str, str]] = {}
    current: dict[str, str] | None = None
    for line in text.splitlines():
        key, _, rest = line.strip().partition(" ")
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
