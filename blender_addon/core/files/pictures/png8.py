"""How is a small picture kept as bytes? As PNG (W3C recommendation), 8 bits a channel, read back without a library."""

from __future__ import annotations

import struct
import zlib

import numpy as np

from ...arrays import Pixels8
from .png import SIGNATURE

COLOUR = 2  # colour type of the header: red, green, blue


def png8(picture: Pixels8) -> bytes:
    """The file of a picture (h, w, 3) of display-encoded sRGB, row 0 on top. Raises ValueError for other shapes."""
    if picture.ndim != 3 or picture.shape[2] != 3 or not picture.size:
        raise ValueError(f"a picture has shape (height, width, 3), not {picture.shape}")
    height, width = picture.shape[:2]
    rows = np.zeros((height, 1 + 3 * width), np.uint8)  # each row after its filter type: 0, as it is
    rows[:, 1:] = np.asarray(picture, np.uint8).reshape(height, -1)
    header = struct.pack(">IIBBBBB", width, height, 8, COLOUR, 0, 0, 0)
    chunks = ((b"IHDR", header), (b"IDAT", zlib.compress(rows.tobytes(), 6)), (b"IEND", b""))
    return SIGNATURE + b"".join(_chunk(kind, data) for kind, data in chunks)


def read_png8(data: bytes) -> Pixels8:
    """The picture (h, w, 3) that `png8` wrote. Raises ValueError for any other file."""
    if not data.startswith(SIGNATURE):
        raise ValueError("not a PNG file")
    place, header, packed = len(SIGNATURE), b"", b""
    while place + 12 <= len(data):
        (length,) = struct.unpack_from(">I", data, place)
        kind, body = data[place + 4 : place + 8], data[place + 8 : place + 8 + length]
        header, packed = (body if kind == b"IHDR" else header), packed + (body if kind == b"IDAT" else b"")
        place += 12 + length
    try:
        width, height, *rest = struct.unpack(">IIBBBBB", header)
        rows = np.frombuffer(zlib.decompress(packed), np.uint8).reshape(height, 1 + 3 * width)
    except (struct.error, zlib.error, ValueError):
        raise ValueError("a damaged PNG file") from None
    if rest != [8, COLOUR, 0, 0, 0] or rows[:, 0].any():
        raise ValueError("a PNG file of another kind")
    return rows[:, 1:].reshape(height, width, 3).copy()


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
