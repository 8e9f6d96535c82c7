"""How is a picture of any size written as PNG? Strip by strip, filtered and compressed as ISO/IEC 15948 says.

Each line takes the filter with the least sum of differences (the standard's own advice, 12.8). Colour profile (iCCP),
resolution (pHYs) and an XMP packet (iTXt, keyword of ISO 16684-1) stand before the pixels.
"""

from __future__ import annotations

import struct
import zlib
from collections.abc import Iterable
from typing import IO

import numpy as np

from ...arrays import Ints, Pixels, Pixels8
from .icc import profile
from .labels import INCH, Labels
from .xmp import packet

COLOUR, COLOUR_ALPHA = 2, 6
"""Colour types of true colour, without and with alpha (ISO/IEC 15948, 11.2.2)."""
LEVEL = 5
"""Compression of zlib, 0 to 9: of noisy pictures higher levels save next to nothing."""
_PIECE = 1 << 20
"""Bytes of data in an IDAT chunk."""
WORDS = b"XML:com.adobe.xmp\0\0\0\0\0"
"""Keyword of the packet, not compressed, without language or translation."""


def chunk(kind: bytes, data: bytes) -> bytes:
    """One chunk: length, kind, data, checksum of both."""
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))


def label_chunks(labels: Labels) -> bytes:
    """The chunks that go between header and pixels."""
    found = [chunk(b"iCCP", labels.gamut.key.encode() + b"\0\0" + zlib.compress(profile(labels.gamut), 9))]
    if labels.dpi is not None:
        metre = round(labels.dpi * 1000.0 / INCH)
        found.append(chunk(b"pHYs", struct.pack(">IIB", metre, metre, 1)))
    if labels.words is not None:
        found.append(chunk(b"iTXt", WORDS + packet(labels.words)))
    return b"".join(found)


def write_png(file: IO[bytes], strips: Iterable[Pixels], size: tuple[int, int], labels: Labels) -> None:
    """Write a picture of `size` (width, height) from strips (k, width, 3 or 4) of uint8 or uint16, the top row first.

    Raises ValueError when the strips are not that picture. An OSError of the file is the caller's.
    """
    width, height = size
    packer = zlib.compressobj(LEVEL)
    before: Pixels | None = None
    rows = 0
    for strip in strips:
        if strip.ndim != 3 or strip.shape[1] != width or strip.shape[2] not in (3, 4):
            raise ValueError(f"a strip of shape {strip.shape} in a picture {width} wide")
        bits = 8 * strip.dtype.itemsize
        if before is None:
            kind = COLOUR if strip.shape[2] == 3 else COLOUR_ALPHA
            header = struct.pack(">IIBBBBB", width, height, bits, kind, 0, 0, 0)
            file.write(b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + label_chunks(labels))
            before = np.zeros(width * strip.shape[2] * strip.dtype.itemsize, np.uint8)
        raw = strip.astype(f">u{strip.dtype.itemsize}").view(np.uint8).reshape(len(strip), -1)
        data = packer.compress(_filtered(raw, before, strip.shape[2] * strip.dtype.itemsize).tobytes())
        before, rows = raw[-1].copy(), rows + len(strip)
        _write_pixels(file, data)
    if rows != height or before is None:
        raise ValueError(f"{rows} rows for a picture {height} high")
    _write_pixels(file, packer.flush())
    file.write(chunk(b"IEND", b""))


def _write_pixels(file: IO[bytes], data: bytes) -> None:
    for place in range(0, len(data), _PIECE):
        file.write(chunk(b"IDAT", data[place : place + _PIECE]))


def _filtered(raw: Pixels8, before: Pixels8, step: int) -> Pixels8:
    """(k, 1 + n) lines with their filter's number in front; raw: (k, n) bytes, `before` the line above, `step` bytes a
    pixel."""
    up = np.concatenate([before[None], raw[:-1]])
    left, corner = (np.concatenate([np.zeros((len(raw), step), np.uint8), lines[:, :-step]], axis=1) for lines in (raw, up))
    wide = left.astype(np.int16), up.astype(np.int16), corner.astype(np.int16)
    best = np.concatenate([np.zeros((len(raw), 1), np.uint8), raw], axis=1)
    least = _cost(raw)
    for number, guess in ((1, left), (2, up), (3, ((wide[0] + wide[1]) // 2).astype(np.uint8)), (4, _paeth(*wide))):
        lines = raw - guess
        cost = _cost(lines)
        better = cost < least
        best[better, 0], best[better, 1:], least[better] = number, lines[better], cost[better]
    return best


def _cost(lines: Pixels8) -> Ints:
    return np.abs(lines.view(np.int8).astype(np.int16)).sum(axis=1, dtype=np.int64)


def _paeth(left: Ints, up: Ints, corner: Ints) -> Pixels8:
    """ISO/IEC 15948, 9.4: of left, up and corner the nearest to left + up - corner."""
    to_left, to_up, to_corner = np.abs(up - corner), np.abs(left - corner), np.abs(left + up - 2 * corner)
    nearest = np.where((to_left <= to_up) & (to_left <= to_corner), left, np.where(to_up <= to_corner, up, corner))
    return nearest.astype(np.uint8)
