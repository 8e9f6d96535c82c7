"""Where are the coordinates in a binary mesh file, and which of them are not finite numbers?"""

from __future__ import annotations

import re
import shutil
from collections.abc import Sequence
from pathlib import Path
from typing import Any

import numpy as np

from ...arrays import Floats, Pixels8
from ...records import record
from .ply import PLY_BYTES, FileProblem, PlyHeader

FAR = b"9e29"
"""The coordinate written in place of one that is not a number; the importing step drops all vertices beyond FAR_AWAY."""
FAR_AWAY = 1e28
"""Coordinates beyond this are no scan's, in whatever unit."""
FAR_OFF = 300.0
"""How many times the scan's own size its middle may lie from zero before 32-bit numbers, which Blender keeps, show on the
surface: their step (IEEE 754: 2^-24 of the value) is then 1/56,000 of the size."""
SAMPLED = 4000
"""Points that are looked at first to tell where a scan lies."""
_POINT = re.compile(rb"(?mi)^([ \t]*(?:v|vertex)[ \t]+)([-+.\deE]+)([ \t]+)([-+.\deE]+)([ \t]+)([-+.\deE]+)")
_COMMAS = re.compile(rb"(?mi)^[ \t]*(?:v|vertex)?[ \t]*-?\d+,\d+[ \t]+-?\d+")


@record
class Coordinates:
    """Where coordinates lie in a binary file: `count` times three floats, from `offset`, every `stride` bytes."""

    offset: int
    stride: int
    count: int
    kind: str = "<f4"


def ply_floats(header: PlyHeader) -> list[Coordinates]:
    """The coordinates of a binary PLY whose vertices come first and have no lists; none for other files, which Blender itself
    must judge."""
    name, count, properties = header.elements[0]
    names = [kind[-1] for kind in properties]
    if name != "vertex" or any(len(kind) != 2 for kind in properties) or "x" not in names:
        return []
    first = names.index("x")
    kinds = {kind[0] for kind in properties[first : first + 3]}
    if names[first : first + 3] != ["x", "y", "z"] or not kinds <= {"float", "float32", "double", "float64"} or len(kinds) > 1:
        return []
    before = sum(PLY_BYTES.get(kind[0], 0) for kind in properties[:first])
    order = ">" if "big" in header.format else "<"
    kind = order + ("f8" if kinds & {"double", "float64"} else "f4")
    return [Coordinates(header.length + before, sum(PLY_BYTES.get(k[0], 0) for k in properties), count, kind)]


def stl_floats(count: int) -> list[Coordinates]:
    """The corners of a binary STL's triangles: 50 bytes each, the normal first."""
    return [Coordinates(84 + 12 * (corner + 1), 50, count) for corner in range(3)]


def glb_floats(content: dict[str, Any], start: int) -> list[Coordinates]:
    """The positions that lie uncompressed in a GLB's own data chunk, which begins at byte `start` of the file."""
    found = {}
    for mesh in content["meshes"]:
        for primitive in mesh["primitives"]:
            number = (primitive.get("attributes") or {}).get("POSITION")
            accessor = content["accessors"][number] if number is not None else {}
            if "bufferView" not in accessor or accessor.get("componentType") != 5126:
                continue
            view = content["bufferViews"][accessor["bufferView"]]
            if view["buffer"] == 0 and "uri" not in content["buffers"][0] and "extensions" not in view:
                offset = start + view.get("byteOffset", 0) + accessor.get("byteOffset", 0)
                found[number] = Coordinates(offset, view.get("byteStride") or 12, accessor["count"])
    return list(found.values())


def _rows(data: Pixels8, place: Coordinates) -> Floats:
    """(count, 3) view of the coordinates in a file's bytes."""
    kind = np.dtype(place.kind)
    return np.ndarray((place.count, 3), kind, data, place.offset, (place.stride, kind.itemsize))


def first_points(path: Path, place: Coordinates) -> Floats:
    """(n, 3) float64 the first points, at most `SAMPLED`."""
    return np.array(_rows(np.memmap(path, np.uint8, "r"), place)[:SAMPLED], dtype=float)


def text_points(body: bytes, header: PlyHeader) -> Floats:
    """(n, 3) the first points of a PLY's text whose vertices come first and have no lists; none for other files."""
    name, count, properties = header.elements[0]
    names = [kind[-1] for kind in properties]
    if name != "vertex" or any(len(kind) != 2 for kind in properties) or not {"x", "y", "z"} <= set(names):
        return np.zeros((0, 3))
    columns = [names.index(axis) for axis in "xyz"]
    rows = [line.split() for line in body.splitlines()[: min(count, SAMPLED)]]
    try:
        return np.array([[row[column] for column in columns] for row in rows], dtype=float).reshape(-1, 3)
    except (IndexError, ValueError):
        return np.zeros((0, 3))


def count_bad(path: Path, floats: Sequence[Coordinates]) -> int:
    """How many points have a coordinate that is not a number."""
    if not floats:
        return 0
    data = np.memmap(path, np.uint8, "r")
    found = 0
    for place in floats:
        finite = np.isfinite(_rows(data, place))
        if not finite.all():  # many times faster than along the short axis, and nearly always enough
            found += int((~finite.all(axis=1)).sum())
    return found


def patched(path: Path, target: Path, floats: Sequence[Coordinates]) -> None:
    """Write a copy of the file in which coordinates that are not numbers are set to FAR."""
    shutil.copyfile(path, target)
    data = np.memmap(target, np.uint8, "r+")
    for place in floats:
        rows = _rows(data, place)
        rows[~np.isfinite(rows)] = float(FAR)
    data.flush()


def refuse_commas(path: Path) -> None:
    """Raises FileProblem for a text whose numbers have decimal commas, since it would be read only in part."""
    with path.open("rb") as file:
        start = file.read(1 << 16)
    if b"\0" not in start and _COMMAS.search(start):
        raise FileProblem("its numbers have decimal commas; export it again with points (often by the system's language)")


Origin = tuple[float, float, float]


def far_origin(points: Floats) -> Origin | None:
    """Where a scan of such points (n, 3) lies, where that is so far from zero that a 32-bit number can't tell its points apart
    well; whole units of the file. None where it lies well, as far as the points show."""
    sound = points[np.isfinite(points).all(axis=1)]
    if len(sound) < 3:
        return None
    low, high = sound.min(axis=0), sound.max(axis=0)
    if not 0.0 < float((high - low).max()) * FAR_OFF < float(np.abs(low + high).max()) / 2.0 < FAR_AWAY:
        return None
    x, y, z = np.round((low + high) / 2.0)
    return float(x), float(y), float(z)


def points_of_text(block: bytes) -> Floats:
    """(n, 3) the first points of a block of an OBJ's or an STL's text, at most `SAMPLED`."""
    found = [match.group(2, 4, 6) for match, _ in zip(_POINT.finditer(block), range(SAMPLED), strict=False)]
    try:
        return np.array(found, dtype=float).reshape(-1, 3)
    except ValueError:
        return np.zeros((0, 3))


def moved_text(block: bytes, origin: Origin) -> bytes:
    """Whole lines of an OBJ's or an STL's text with its points moved so that `origin` lies at zero."""

    def moved(match: re.Match[bytes]) -> bytes:
        start, *rest = match.groups()
        try:
            x, y, z = (float(word) - away for word, away in zip(rest[0::2], origin, strict=True))
        except ValueError:
            return match.group()
        return start + b"%.9g %.9g %.9g" % (x, y, z)

    return _POINT.sub(moved, block)
