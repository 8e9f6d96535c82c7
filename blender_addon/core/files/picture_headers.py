"""How large is a picture file, and is it grey? Read from its first bytes, so that a folder of hundreds costs no decoding."""

from __future__ import annotations

import struct
from dataclasses import dataclass

ENOUGH = 1 << 16
"""Bytes from a file's start that nearly always hold its size; a JPEG with a larger preview before it says nothing."""


@dataclass(frozen=True)
class Header:
    """Size in pixels, and how many colour channels are stored: 1 for a grey picture, 3 for a coloured one (alpha left out)."""

    width: int
    height: int
    channels: int


def read_header(data: bytes) -> Header | None:
    """The header of a picture that starts with `data`: PNG (ISO 15948, 11.2.2), JPEG (ITU T.81, B.2.2), BMP and WebP.

    None for other kinds and where the bytes end too soon.
    """
    try:
        if data[:8] == b"\x89PNG\r\n\x1a\n":
            width, height, _, kind = struct.unpack_from(">IIBB", data, 16)
            return Header(width, height, 1 if kind in (0, 4) else 3)
        if data[:2] == b"\xff\xd8":
            return _jpeg(data)
        if data[:2] == b"BM":
            width, height = struct.unpack_from("<ii", data, 18)
            return Header(width, abs(height), 3)
        if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
            return _webp(data)
    except struct.error:
        return None
    return None


def _jpeg(data: bytes) -> Header | None:
    place = 2
    while place + 4 <= len(data):
        if data[place] != 0xFF:
            return None
        marker = data[place + 1]
        if marker == 0xFF:  # a fill byte
            place += 1
            continue
        if 0xC0 <= marker <= 0xCF and marker not in (0xC4, 0xC8, 0xCC):  # a frame header
            height, width, channels = struct.unpack_from(">HHB", data, place + 5)
            return Header(width, height, 1 if channels == 1 else 3)
        place += 2 + struct.unpack_from(">H", data, place + 2)[0]
    return None


def _webp(data: bytes) -> Header | None:
    kind = data[12:16]
    if kind == b"VP8X":
        width, height = (1 + int.from_bytes(data[place : place + 3], "little") for place in (24, 27))
        return Header(width, height, 3)
    if kind == b"VP8L":
        bits = struct.unpack_from("<I", data, 21)[0]
        return Header((bits & 0x3FFF) + 1, ((bits >> 14) & 0x3FFF) + 1, 3)
    if kind == b"VP8 ":
        width, height = struct.unpack_from("<HH", data, 26)
        return Header(width & 0x3FFF, height & 0x3FFF, 3)
    return None
