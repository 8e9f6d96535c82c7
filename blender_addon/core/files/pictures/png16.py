"""How are 16-bit numbers written so that any program can read them? As PNG (W3C recommendation), without a colour space."""

from __future__ import annotations

import struct
import zlib

import numpy as np

from ...arrays import Floats, Ints

GREY, COLOUR = 0, 2  # colour types of the header


def png16(values: Floats | Ints, *, texts: dict[str, str] | None = None) -> bytes:
    """The file of (h, w) or (h, w, 3) values 0 to 1, row 0 at the bottom; texts: text chunks, Latin-1.

    Raises ValueError for other shapes.
    """
    if values.ndim not in (2, 3) or (values.ndim == 3 and values.shape[2] != 3):
        raise ValueError(f"a PNG has one or three channels, not shape {values.shape}")
    height, width = values.shape[:2]
    numbers = np.rint(np.clip(values[::-1], 0, 1) * 65535).astype(">u2").reshape(height, -1)
    rows = np.zeros((height, 1 + 2 * numbers.shape[1]), np.uint8)  # each row after its filter type: 0, as it is
    rows[:, 1:] = numbers.view(np.uint8).reshape(height, -1)
    header = struct.pack(">IIBBBBB", width, height, 16, GREY if values.ndim == 2 else COLOUR, 0, 0, 0)
    chunks = [_chunk(b"tEXt", f"{name}\0{text}".encode("latin-1")) for name, text in (texts or {}).items()]
    parts = [_chunk(b"IHDR", header), *chunks, _chunk(b"IDAT", zlib.compress(rows.tobytes(), 6)), _chunk(b"IEND", b"")]
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
