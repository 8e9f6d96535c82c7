"""How was a photo held, and through what lens was it taken? The few Exif fields that say so (CIPA DC-008-2019, 4.6).

Exif lies in a JPEG's APP1 segment after "Exif\\0\\0" (4.7.2) as a TIFF of one directory with a further one for the camera. A
file without it, or with damaged fields, just says nothing."""

from __future__ import annotations

import struct
from dataclasses import dataclass

import numpy as np

from ...arrays import Pixels

ORIENTATION, CAMERA_PART = 0x0112, 0x8769
FOCAL, FOCAL_35MM = 0x920A, 0xA405
_WIDTHS = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 7: 1, 9: 4, 10: 8}
MOST_FIELDS = 512


@dataclass(frozen=True)
class PhotoFields:
    """orientation: 1 to 8 as CIPA DC-008 numbers it, 1 as stored. focal_mm: of the lens; focal_35mm: as a 35 mm camera's
    would be; None where not given."""

    orientation: int = 1
    focal_mm: float | None = None
    focal_35mm: float | None = None


def photo_fields(data: bytes) -> PhotoFields:
    """The fields of a JPEG file's bytes; the usual ones for any other file."""
    block = _block(data)
    if block is None or block[:2] not in (b"II", b"MM"):
        return PhotoFields()
    order = "<" if block[:2] == b"II" else ">"
    try:
        first = _fields(block, order, struct.unpack_from(order + "I", block, 4)[0])
        camera = _fields(block, order, int(first[CAMERA_PART])) if CAMERA_PART in first else {}
    except (struct.error, ValueError, OverflowError):
        return PhotoFields()
    turn = int(first.get(ORIENTATION, 1))
    return PhotoFields(turn if 1 <= turn <= 8 else 1, _positive(camera.get(FOCAL)), _positive(camera.get(FOCAL_35MM)))


def _positive(value: float | None) -> float | None:
    """0 stands for "unknown" (CIPA DC-008, 4.6.5, FocalLengthIn35mmFilm)."""
    return value if value is not None and 0.1 < value < 1e5 else None


def _block(data: bytes) -> bytes | None:
    """The TIFF in the Exif segment of a JPEG (ITU-T T.81, B.2.4.6)."""
    if data[:2] != b"\xff\xd8":
        return None
    place = 2
    while place + 4 <= len(data) and data[place] == 0xFF:
        kind, length = data[place + 1], int.from_bytes(data[place + 2 : place + 4], "big")
        if kind == 0xFF:
            place += 1
            continue
        if kind in (0xDA, 0xD9) or length < 2:
            return None
        if kind == 0xE1 and data[place + 4 : place + 10] == b"Exif\0\0":
            return data[place + 10 : place + 2 + length]
        place += 2 + length
    return None


def _fields(block: bytes, order: str, start: int) -> dict[int, float]:
    """The first value of each number field in the directory at `start` (TIFF 6.0, section 2)."""
    (count,) = struct.unpack_from(order + "H", block, start)
    found: dict[int, float] = {}
    for entry in range(min(count, MOST_FIELDS)):
        tag, kind, number = struct.unpack_from(order + "HHI", block, start + 2 + 12 * entry)
        width = _WIDTHS.get(kind, 0)
        if not width or number < 1:
            continue
        place = start + 2 + 12 * entry + 8
        if width * number > 4:
            (place,) = struct.unpack_from(order + "I", block, place)
        value = _value(block, order, kind, place)
        if value is not None:
            found[tag] = value
    return found


def _value(block: bytes, order: str, kind: int, place: int) -> float | None:
    if place + _WIDTHS[kind] > len(block):
        return None
    if kind in (5, 10):
        over, under = struct.unpack_from(order + ("II" if kind == 5 else "ii"), block, place)
        return over / under if under else None
    code = {1: "B", 3: "H", 4: "I", 9: "i"}.get(kind)
    return None if code is None else float(struct.unpack_from(order + code, block, place)[0])


def as_held(pixels: Pixels, orientation: int) -> Pixels:
    """Pixels (height, width, ...), row 0 at the top, as the photo is to be shown: the stored row 0 and column 0 lie at the top
    and left (1), top right (2), bottom right (3), bottom left (4), left top (5), right top (6), right bottom (7), left bottom
    (8)."""
    if orientation in (5, 6, 7, 8):
        pixels = np.swapaxes(pixels, 0, 1)
    if orientation in (3, 4, 7, 8):
        pixels = pixels[::-1]
    if orientation in (2, 3, 6, 7):
        pixels = pixels[:, ::-1]
    return np.ascontiguousarray(pixels)
