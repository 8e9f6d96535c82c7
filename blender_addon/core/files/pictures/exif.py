"""What did the camera write into a photo? Exif in a JPEG, by its standard (CIPA DC-008-2019, Exif 2.32), without a library.

Exif is a TIFF directory in an APP1 segment (4.5.2, 4.5.4 there); tags and their meaning are those of 4.6.4 and 4.6.5. What is
missing, damaged or makes no sense is left out: no photo is refused for its metadata.
"""

from __future__ import annotations

import math
import struct

import numpy as np

from ...arrays import Pixels
from ...records import record

MOST_ENTRIES = 512
"""Entries that are read of a directory; a camera writes about a hundred."""
_SIZES = {1: 1, 2: 1, 3: 2, 4: 4, 5: 8, 6: 1, 7: 1, 8: 2, 9: 4, 10: 8, 11: 4, 12: 8}
"""Bytes of each kind of value (4.6.2)."""
_EXIF_IFD = 0x8769
"""Tag of the pointer to the Exif directory (CIPA DC-008)."""

Value = int | float | str


@record
class Exif:
    """What a camera recorded about one photo; '' or None where it recorded nothing.

    taken: 'YYYY:MM:DD HH:MM:SS' and, where given, '.fraction', so that they sort by time as text. orientation: 1 to 8, how row
    0 and column 0 stand (1: as they are). seconds: exposure time. f_number. sensitivity: ISO. focal_mm: true focal length;
    focal_35: that of the same angle on 36 x 24 mm. zoom: digital zoom, 1 for none. flash: whether it fired. locked: whether the
    exposure was set by hand. white_locked: whether the white balance was.
    """

    make: str = ""
    model: str = ""
    lens: str = ""
    software: str = ""
    taken: str = ""
    orientation: int = 1
    seconds: float | None = None
    f_number: float | None = None
    sensitivity: float | None = None
    focal_mm: float | None = None
    focal_35: float | None = None
    zoom: float | None = None
    flash: bool | None = None
    locked: bool | None = None
    white_locked: bool | None = None

    @property
    def from_camera(self) -> bool:
        """Whether a camera wrote this: its name or its exposure is there."""
        return bool(self.make or self.model) or self.seconds is not None

    @property
    def exposure_value(self) -> float | None:
        """log2(N^2 / t) - log2(S / 100), the light that the settings are right for (annex C there: the APEX system); None
        where time or sensitivity is missing. A missing f-number counts as 1: phones have one, and only differences are used.
        """
        if not self.seconds or not self.sensitivity:
            return None
        return math.log2((self.f_number or 1.0) ** 2 / self.seconds) - math.log2(self.sensitivity / 100.0)


@record
class PhotoFields:
    """orientation: 1 to 8 as CIPA DC-008 numbers it, 1 as stored. focal_mm: of the lens; focal_35mm: as a 35 mm camera's
    would be; None where not given. optics: what photos by one lens that was not zoomed between them have in common, '' where
    the camera or the focal length is not given."""

    orientation: int = 1
    focal_mm: float | None = None
    focal_35mm: float | None = None
    optics: str = ""


def photo_fields(data: bytes) -> PhotoFields:
    """How the camera was held, and the lens and focal length it recorded."""
    found = read_exif(data)
    focal, film = _length(found.focal_mm), _length(found.focal_35)
    named = (found.make or found.model) and focal is not None
    optics = f"{found.make}/{found.model}/{found.lens}/{focal}/{film}/{found.zoom or 1.0}" if named else ""
    return PhotoFields(found.orientation, focal, film, optics)


def _length(value: float | None) -> float | None:
    """0 stands for "unknown" (CIPA DC-008, 4.6.5, FocalLengthIn35mmFilm); impossible values are left out, too."""
    return value if value is not None and 0.1 < value < 1e5 else None


def read_exif(data: bytes) -> Exif:
    """The Exif fields in a JPEG file's bytes (its first 256 kB are enough); all empty where there are none."""
    tiff = _segment(data)
    if tiff is None:
        return Exif()
    try:
        return _made(_tags(tiff))
    except (struct.error, IndexError, ValueError, OverflowError):
        return Exif()


def _segment(data: bytes) -> bytes | None:
    """The TIFF block of the first APP1 segment that is Exif's."""
    at = 2
    if data[:2] != b"\xff\xd8":
        return None
    while at + 4 <= len(data) and data[at] == 0xFF:
        kind = data[at + 1]
        if kind == 0xFF:
            at += 1
            continue
        if kind in (0xD9, 0xDA):
            return None
        (length,) = struct.unpack_from(">H", data, at + 2)
        if kind == 0xE1 and data[at + 4 : at + 10] == b"Exif\0\0":
            return data[at + 10 : at + 2 + length]
        at += 2 + length
    return None


def _tags(tiff: bytes) -> dict[int, Value]:
    """Tag to value, of the first directory and of the Exif directory that it names; of lists the first value."""
    order = {b"II": "<", b"MM": ">"}[tiff[:2]] if tiff[:2] in (b"II", b"MM") else ""
    if not order or struct.unpack_from(order + "H", tiff, 2)[0] != 42:
        return {}
    found: dict[int, Value] = {}
    (first,) = struct.unpack_from(order + "I", tiff, 4)
    _directory(tiff, order, first, found)
    inner = found.get(_EXIF_IFD)
    if isinstance(inner, int):
        _directory(tiff, order, inner, found)
    return found


def _directory(tiff: bytes, order: str, at: int, found: dict[int, Value]) -> None:
    if not 8 <= at <= len(tiff) - 2:
        return
    (count,) = struct.unpack_from(order + "H", tiff, at)
    for number in range(min(count, MOST_ENTRIES)):
        place = at + 2 + 12 * number
        if place + 12 > len(tiff):
            return
        tag, kind, length = struct.unpack_from(order + "HHI", tiff, place)
        size = _SIZES.get(kind, 0) * length
        start = place + 8 if size <= 4 else struct.unpack_from(order + "I", tiff, place + 8)[0]
        if not size or start + size > len(tiff):
            continue
        value = _value(tiff[start : start + size], order, kind)
        if value is not None:
            found.setdefault(tag, value)


def _value(data: bytes, order: str, kind: int) -> Value | None:
    if kind == 2:
        return data.split(b"\0")[0].decode("utf-8", "replace").strip()
    if kind in (5, 10):
        above, below = struct.unpack_from(order + ("II" if kind == 5 else "ii"), data)
        return above / below if below else None
    code = {1: "B", 3: "H", 4: "I", 6: "b", 8: "h", 9: "i", 11: "f", 12: "d"}.get(kind)
    return struct.unpack_from(order + code, data)[0] if code else None


def _made(tags: dict[int, Value]) -> Exif:
    def words(tag: int) -> str:
        value = tags.get(tag, "")
        return value[:100] if isinstance(value, str) else ""

    def above_zero(tag: int) -> float | None:
        value = tags.get(tag)
        return float(value) if isinstance(value, (int, float)) and math.isfinite(value) and value > 0 else None

    def whole(tag: int) -> int | None:
        value = tags.get(tag)
        return value if isinstance(value, int) else None

    taken, fraction = words(0x9003) or words(0x0132), words(0x9291)
    orientation, flash, mode, white = whole(0x0112), whole(0x9209), whole(0xA402), whole(0xA403)
    return Exif(
        make=words(0x010F), model=words(0x0110), lens=words(0xA434), software=words(0x0131),
        taken=f"{taken}.{fraction}" if taken and fraction.isdigit() else taken,
        orientation=orientation if orientation is not None and 1 <= orientation <= 8 else 1,
        seconds=above_zero(0x829A), f_number=above_zero(0x829D), sensitivity=above_zero(0x8827),
        focal_mm=above_zero(0x920A), focal_35=above_zero(0xA405), zoom=above_zero(0xA404),
        flash=None if flash is None else bool(flash & 1),
        locked=None if mode is None else mode == 1,
        white_locked=None if white is None else white == 1,
    )  # fmt: skip


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
