"""How are profile, resolution and words put into a JPEG file? As application segments after its start (ITU-T T.81, B.2.4.6).

JFIF 1.02 (ITU-T T.871) for the resolution; ICC.1:2010, B.4 for the profile in APP2; ISO 16684-3 for the packet in APP1.
"""

from __future__ import annotations

import struct

from .icc import profile
from .labels import Labels
from .xmp import packet

LARGEST_SIDE = 65535
"""Pixels that a JPEG's 16-bit height or width can say (ITU-T T.81, B.2.2)."""
_MOST = 65533
"""Bytes that a segment holds beside its own 16-bit length (ITU-T T.81, B.1.1.4)."""
_OURS = {0xE0, 0xE1, 0xE2, 0xFE}
"""JFIF; Exif and XMP; profiles; comments. They are replaced by our own."""


def labelled(data: bytes, labels: Labels) -> bytes:
    """The file with these labels in place of its own. Raises ValueError for other files, or for text too long for a segment."""
    if data[:2] != b"\xff\xd8":
        raise ValueError("not a JPEG file")
    kept, place = [], 2
    while data[place] == 0xFF and data[place + 1] != 0xDA:
        length = 2 + struct.unpack_from(">H", data, place + 2)[0]
        if data[place + 1] not in _OURS:
            kept.append(data[place : place + length])
        place += length
    dots = max(1, round(labels.dpi)) if labels.dpi is not None else 1
    head = [_segment(0xE0, b"JFIF\0" + struct.pack(">HBHHBB", 0x0102, 1 if labels.dpi is not None else 0, dots, dots, 0, 0))]
    if labels.words is not None:
        head.append(_segment(0xE1, b"http://ns.adobe.com/xap/1.0/\0" + packet(labels.words)))
    head.append(_segment(0xE2, b"ICC_PROFILE\0\x01\x01" + profile(labels.gamut)))
    return b"".join([b"\xff\xd8", *head, *kept, data[place:]])


def _segment(kind: int, data: bytes) -> bytes:
    if len(data) > _MOST:
        raise ValueError(f"{len(data)} bytes of text, and a segment of a JPEG file takes {_MOST}")
    return struct.pack(">BBH", 0xFF, kind, len(data) + 2) + data
