"""How much memory do the packed arrays of a binary FBX promise to take? A megabyte of zeros unpacks to a gigabyte.

FBX has no public specification; the structure (records with an end, a number of properties and their length; arrays with a
count, an encoding and a packed length) was learnt from files that Blender's own exporter writes.
"""

from __future__ import annotations

import mmap
import struct
from pathlib import Path

from ... import memory
from .ply import FileProblem

_SIZES = {b"f": 4, b"d": 8, b"l": 8, b"i": 4, b"b": 1, b"c": 1}
"""Bytes of one number of an array of that type."""
_PLAIN = {b"Y": 2, b"C": 1, b"I": 4, b"F": 4, b"D": 8, b"L": 8, b"B": 1}
"""Bytes of a property that is one number."""
_WIDE_FROM = 7500
"""The version from which a record's head has 64-bit numbers."""
_START = 27
"""Bytes before the first record: the mark, two bytes, and the version."""
MOST_RECORDS = 1_000_000
"""Records that are looked at, to bound the time of a broken file; scans have some hundreds. A guess."""
MOST_DEPTH = 64
"""Records within one another; files have fewer than ten. A guess."""


def check_arrays(path: Path, *, free: float | None = None) -> None:
    """Raise FileProblem where a binary FBX's arrays, unpacked, do not fit in memory. free: available MB."""
    have = memory.free_mb() if free is None else free
    need = promised_bytes(path) / 1e6
    if have is not None and need > have:
        raise FileProblem(
            f"its arrays take {need / 1000.0:.1f} GB of memory, and {have / 1000.0:.1f} GB are free here; thin the scan "
            "out, or export it again"
        )


def promised_bytes(path: Path) -> int:
    """Bytes of all arrays of a binary FBX, unpacked; records after a damaged one are not counted."""
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        if len(data) < _START:
            return 0
        head = struct.Struct("<QQQB" if struct.unpack_from("<I", data, _START - 4)[0] >= _WIDE_FROM else "<IIIB")
        total, places = 0, [(_START, len(data))]
        for _ in range(MOST_RECORDS):
            if not places:
                break
            start, end = places.pop()
            if start + head.size > end:
                continue
            after, count, length, letters = head.unpack_from(data, start)
            if not start < after <= end:
                continue
            places.append((after, end))
            inside = start + head.size + letters
            total += _arrays(data, inside, min(inside + length, after), count)
            if inside + length < after and len(places) < MOST_DEPTH:
                places.append((inside + length, after))
        return total


def _arrays(data: mmap.mmap, place: int, end: int, count: int) -> int:
    """Bytes of the arrays among `count` properties, unpacked."""
    total = 0
    for _ in range(min(count, end - place)):
        kind = data[place : place + 1]
        place += 1
        if kind in _PLAIN:
            place += _PLAIN[kind]
        elif kind in (b"S", b"R") and place + 4 <= end:
            place += 4 + struct.unpack_from("<I", data, place)[0]
        elif kind in _SIZES and place + 12 <= end:
            numbers, _, packed = struct.unpack_from("<III", data, place)
            total += numbers * _SIZES[kind]
            place += 12 + packed
        else:
            break
        if place >= end:
            break
    return total
