"""How is a picture of any size written as TIFF? Strips of 16 or 8 bits with a horizontal predictor, deflated.

TIFF 6.0; compression 8 and predictor 2 by the TIFF Technical Notes of 2002 (Deflate); the ICC profile in tag 34675
(ICC.1:2010, B.4), the XMP packet in tag 700 (ISO 16684-3).
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable
from typing import IO

from ...arrays import Pixels
from .icc import profile
from .labels import Labels
from .xmp import packet

LARGEST = (1 << 32) - (1 << 26)
"""Bytes that a TIFF file can hold, with some room for the directory: its places are numbers of 32 bits."""
LEVEL = 5
"""Compression of zlib, 0 to 9: of noisy pictures higher levels save next to nothing."""
_BYTE, _ASCII, _SHORT, _LONG, _RATIO, _ANY = 1, 2, 3, 4, 5, 7
"""Types of an entry (TIFF 6.0, section 2)."""


def write_tiff(file: IO[bytes], strips: Iterable[Pixels], size: tuple[int, int], labels: Labels) -> None:
    """Write a picture of `size` (width, height) from strips (k, width, 3) of uint8 or uint16, the top row first.

    All strips but the last have the same height. Raises ValueError when the strips are not that picture or it is too large for
    the format.
    """
    width, height = size
    file.write(b"II*\0" + bytes(4))
    places, counts, rows, first, bits = [], [], 0, 0, 0
    for strip in strips:
        if strip.ndim != 3 or strip.shape[1:] != (width, 3) or (first and len(strip) > first):
            raise ValueError(f"a strip of shape {strip.shape} in a picture {width} wide")
        first, bits = first or len(strip), 8 * strip.dtype.itemsize
        ahead = strip.astype(f"<u{strip.dtype.itemsize}")
        ahead[:, 1:] -= strip[:, :-1]  # unsigned numbers wrap round, as the predictor wants
        data = zlib.compress(ahead.tobytes(), LEVEL)
        places.append(file.tell())
        counts.append(len(data))
        file.write(data)
        rows += len(strip)
        if file.tell() > LARGEST:
            raise ValueError("more than the 4 GiB that a TIFF file can hold")
    if rows != height:
        raise ValueError(f"{rows} rows for a picture {height} high")
    _write_directory(file, (width, height, bits, first), (places, counts), labels)


def _write_directory(
    file: IO[bytes], shape: tuple[int, int, int, int], strips: tuple[list[int], list[int]], labels: Labels
) -> None:
    width, height, bits, rows = shape
    places, counts = strips
    entries: list[tuple[int, int, int, bytes]] = [
        (256, _LONG, 1, struct.pack("<I", width)), (257, _LONG, 1, struct.pack("<I", height)),
        (258, _SHORT, 3, struct.pack("<3H", bits, bits, bits)), (259, _SHORT, 1, struct.pack("<H", 8)),
        (262, _SHORT, 1, struct.pack("<H", 2)), (273, _LONG, len(places), struct.pack(f"<{len(places)}I", *places)),
        (274, _SHORT, 1, struct.pack("<H", 1)), (277, _SHORT, 1, struct.pack("<H", 3)),
        (278, _LONG, 1, struct.pack("<I", rows)), (279, _LONG, len(counts), struct.pack(f"<{len(counts)}I", *counts)),
        (284, _SHORT, 1, struct.pack("<H", 1)), (317, _SHORT, 1, struct.pack("<H", 2)),
    ]  # fmt: skip
    if labels.dpi is not None:
        ratio = struct.pack("<II", round(labels.dpi * 1000), 1000)
        entries += [(282, _RATIO, 1, ratio), (283, _RATIO, 1, ratio), (296, _SHORT, 1, struct.pack("<H", 2))]
    icc = profile(labels.gamut)
    entries.append((34675, _ANY, len(icc), icc))
    if labels.words is not None:
        words = packet(labels.words)
        entries.append((700, _BYTE, len(words), words))
    table = b""
    for tag, kind, count, data in sorted(entries):
        if len(data) > 4:
            file.write(bytes(file.tell() % 2))  # values begin at even places
            place = file.tell()
            file.write(data)
            data = struct.pack("<I", place)
        table += struct.pack("<HHI", tag, kind, count) + data.ljust(4, b"\0")
    file.write(bytes(file.tell() % 2))
    start = file.tell()
    file.write(struct.pack("<H", len(entries)) + table + bytes(4))
    file.seek(4)
    file.write(struct.pack("<I", start))
