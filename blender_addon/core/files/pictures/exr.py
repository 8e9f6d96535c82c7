"""Where are an OpenEXR file's chunks, and how is metadata removed from its header? By "OpenEXR File Layout" (openexr.com).

Only single-part scan-line files are handled; that is what Blender writes for a picture.
"""

from __future__ import annotations

import struct
from typing import IO

MAGIC = b"\x76\x2f\x31\x01"
_LINES = {0: 1, 1: 1, 2: 1, 3: 16, 4: 32, 5: 16, 6: 32, 7: 32, 8: 32, 9: 256}
"""Lines in a chunk by compression: none, RLE, ZIPS, ZIP, PIZ, PXR24, B44, B44A, DWAA, DWAB."""
KEPT = frozenset(
    ["channels", "compression", "dataWindow", "displayWindow", "lineOrder", "pixelAspectRatio", "screenWindowCenter",
     "screenWindowWidth", "chromaticities", "colorInteropID", "whiteLuminance", "xDensity"]
)  # fmt: skip
"""The attributes that define the picture; all others only tell how it was produced."""


def _attributes(data: bytes) -> tuple[list[tuple[str, bytes, bytes]], int]:
    """(name, its bytes with name and type, its value) of each attribute, and the place after the header."""
    if data[:4] != MAGIC:
        raise ValueError("no OpenEXR file")
    (version,) = struct.unpack_from("<I", data, 4)
    if version & 0x1A00:  # tiles, deep pictures, several parts
        raise ValueError("an OpenEXR file of a kind that is not read here")
    found, place = [], 8
    while data[place]:
        start = place
        name_end = data.index(b"\0", place)
        kind_end = data.index(b"\0", name_end + 1)
        (length,) = struct.unpack_from("<i", data, kind_end + 1)
        place = kind_end + 5 + length
        if length < 0 or place >= len(data):
            raise ValueError("a header that ends too early")
        found.append((data[start:name_end].decode("ascii"), data[start:place], data[kind_end + 5 : place]))
    return found, place + 1


def _chunks(attributes: list[tuple[str, bytes, bytes]]) -> int:
    """How many chunks a file has. Raises ValueError where the header does not say."""
    values = {name: value for name, _, value in attributes}
    try:
        _, low, _, high = struct.unpack("<4i", values["dataWindow"])
        return -(-(high - low + 1) // _LINES[values["compression"][0]])
    except (KeyError, IndexError, struct.error) as error:
        raise ValueError(f"a header without {error}") from None


def chunk_places(file: IO[bytes]) -> tuple[list[int], int]:
    """Where each chunk begins, and how many bytes stand before a chunk's data. Raises ValueError for other files."""
    data = file.read(1 << 20)
    attributes, place = _attributes(data)
    count = _chunks(attributes)
    if place + 8 * count > len(data):
        raise ValueError("a table that ends too early")
    return list(struct.unpack_from(f"<{count}Q", data, place)), 8


def without_words(data: bytes, *, more: dict[str, str] | None = None) -> bytes:
    """The file without dates, times and names of programs, so that equal pictures are equal files; `more`: words put in.

    Raises ValueError for other files.
    """
    attributes, place = _attributes(data)
    count = _chunks(attributes)
    kept = [raw for name, raw, _ in attributes if name in KEPT]
    for name, words in (more or {}).items():
        value = words.encode()
        kept.append(name.encode("ascii") + b"\0string\0" + struct.pack("<i", len(value)) + value)
    head = data[:8] + b"".join(kept) + b"\0"
    shift = len(head) - place
    places = struct.unpack_from(f"<{count}Q", data, place)
    table = struct.pack(f"<{count}Q", *(entry + shift for entry in places))
    return head + table + data[place + 8 * count :]


def with_places(data: bytes) -> bytes:
    """The file with its table of places filled in. Blender leaves it empty where it packs a picture into a .blend.

    Raises ValueError for other files, and where the chunks do not fill the file.
    """
    attributes, start = _attributes(data)
    count = _chunks(attributes)
    place = start + 8 * count
    places = []
    for _ in range(count):
        if place + 8 > len(data):
            raise ValueError("lines that end too early")
        places.append(place)
        place += 8 + struct.unpack_from("<i", data, place + 4)[0]
    if place != len(data):
        raise ValueError("lines that do not fill the file")
    return data[:start] + struct.pack(f"<{count}Q", *places) + data[start + 8 * count :]
