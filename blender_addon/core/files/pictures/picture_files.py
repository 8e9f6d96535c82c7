"""Is a picture file complete? Decoders silently fill a truncated picture with grey, so its end is checked first."""

from __future__ import annotations

import struct


def looks_whole(data: bytes, suffix: str = "") -> bool:
    """Whether a picture's bytes reach to its end: JPEG's end marker (ITU T.81, B.1.1.3), PNG's IEND (ISO 15948, 11.2.5),
    WebP's and BMP's written length. Other kinds are taken as whole when they are not empty.
    """
    if len(data) < 16:
        return False
    if data[:2] == b"\xff\xd8":
        # programs append data after the picture (a second one, a date), so the marker is searched in a long tail
        return b"\xff\xd9" in data[-max(65536, len(data) // 20) :]
    if data[:8] == b"\x89PNG\r\n\x1a\n":
        return b"IEND" in data[-65536:]
    if data[:4] == b"RIFF" and data[8:12] == b"WEBP":
        return struct.unpack_from("<I", data, 4)[0] + 8 <= len(data)
    if data[:2] == b"BM":
        return struct.unpack_from("<I", data, 2)[0] <= len(data) or struct.unpack_from("<I", data, 2)[0] == 0
    return True
