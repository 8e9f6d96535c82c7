"""In what colours is a picture written? The ICC profile in a JPEG or PNG (ICC.1:2022, clauses 7, 9, 10), and its way to sRGB.

Phones write wide-gamut pictures, whose numbers taken for sRGB look pale. Profiles of three primaries with curves are read, as
cameras and phones write them; others (tables, CMYK) are left as they are.
"""

from __future__ import annotations

import struct
import zlib

import numpy as np

from ...arrays import Floats
from ...records import record
from ...srgb import encode
from .icc import SRGB, adaptation

MOST_BYTES = 4_000_000
"""Bytes that a profile may unpack to: more than any camera's or press's has (from memory)."""
_PARAMETERS = {0: 1, 1: 3, 2: 4, 3: 5, 4: 7}
"""Numbers that each kind of parametric curve has (10.18)."""


@record
class Profile:
    """matrix: (3, 3) from its linear light to sRGB's. curves: (3, 1024) linear light of even steps of each channel."""

    matrix: Floats
    curves: Floats

    @property
    def is_srgb(self) -> bool:
        """Whether its numbers mean the same as sRGB's, to a level of 255."""
        steps = np.linspace(0, 1, self.curves.shape[1])
        return bool(np.abs(self.matrix - np.eye(3)).max() < 0.006 and np.abs(encode(self.curves) - steps).max() < 0.006)


def into_srgb(pixels: Floats, profile: Profile) -> Floats:
    """Pixels (h, w, 3) 0 to 1 as sRGB would have them; colours beyond sRGB end at its border."""
    count = profile.curves.shape[1]
    at = np.clip(pixels, 0, 1) * (count - 1)
    low = np.minimum(at.astype(np.int32), count - 2)
    share = (at - low).astype(np.float32)
    linear = np.stack(
        [
            profile.curves[channel][low[..., channel]] * (1 - share[..., channel])
            + profile.curves[channel][low[..., channel] + 1] * share[..., channel]
            for channel in range(3)
        ],
        axis=2,
    )
    return encode(np.clip(linear @ profile.matrix.T.astype(np.float32), 0, 1))


def profile_of(data: bytes) -> Profile | None:
    """The profile in a picture file's bytes; None without one, or with one that is damaged or of another kind."""
    try:
        found = _of_jpeg(data) if data[:2] == b"\xff\xd8" else _of_png(data) if data[:8] == b"\x89PNG\r\n\x1a\n" else None
        with np.errstate(all="ignore"):  # a damaged curve may divide by zero; what is not finite is refused
            return None if found is None else _made(found)
    except (struct.error, IndexError, ValueError, ArithmeticError, zlib.error, KeyError):
        return None


def _of_jpeg(data: bytes) -> bytes | None:
    """The parts of APP2 segments in their order (annex B.4 of ICC.1)."""
    at, parts = 2, {}
    while at + 4 <= len(data) and data[at] == 0xFF and data[at + 1] not in (0xD9, 0xDA):
        (length,) = struct.unpack_from(">H", data, at + 2)
        if data[at + 1] == 0xE2 and data[at + 4 : at + 16] == b"ICC_PROFILE\0":
            parts[data[at + 16]] = data[at + 18 : at + 2 + length]
        at += 2 + length
    return b"".join(parts[number] for number in sorted(parts)) if parts else None


def _of_png(data: bytes) -> bytes | None:
    """The iCCP chunk (ISO/IEC 15948, 11.3.3.3), which comes before the pixels."""
    at = 8
    while at + 12 <= len(data):
        length, kind = struct.unpack_from(">I4s", data, at)
        if kind in (b"IDAT", b"IEND"):
            return None
        if kind == b"iCCP":
            body = data[at + 8 : at + 8 + length]
            packed = body[body.index(b"\0") + 2 :]
            return zlib.decompressobj().decompress(packed, MOST_BYTES)
        at += 12 + length
    return None


def _made(profile: bytes) -> Profile | None:
    if profile[16:20] != b"RGB " or profile[20:24] != b"XYZ ":
        return None
    (count,) = struct.unpack_from(">I", profile, 128)
    tags = {}
    for number in range(min(count, 100)):
        name, start, length = struct.unpack_from(">4sII", profile, 132 + 12 * number)
        tags[name] = profile[start : start + length]
    columns = [np.array(struct.unpack_from(">3i", tags[name], 8)) / 65536.0 for name in (b"rXYZ", b"gXYZ", b"bXYZ")]
    curves = np.stack([_curve(tags[name]) for name in (b"rTRC", b"gTRC", b"bTRC")])
    matrix = np.linalg.solve(adaptation() @ SRGB.to_xyz(), np.stack(columns, axis=1))
    if not (np.isfinite(matrix).all() and np.isfinite(curves).all() and abs(np.linalg.det(matrix)) > 1e-3):
        return None
    return Profile(matrix, curves.astype(np.float32))


def _curve(tag: bytes) -> Floats:
    """(1024,) linear light of even steps, by a curve of type curv (10.6) or para (10.18)."""
    x = np.linspace(0.0, 1.0, 1024)
    if tag[:4] == b"curv":
        (count,) = struct.unpack_from(">I", tag, 8)
        if count == 0:
            return x
        if count == 1:
            return np.asarray(x ** (struct.unpack_from(">H", tag, 12)[0] / 256.0))
        values = np.frombuffer(tag, ">u2", count, 12) / 65535.0
        return np.interp(x, np.linspace(0, 1, count), values)
    if tag[:4] != b"para":
        raise ValueError("a curve of another type")
    kind = struct.unpack_from(">H", tag, 8)[0]
    numbers = [value / 65536.0 for value in struct.unpack_from(f">{_PARAMETERS[kind]}i", tag, 12)]
    g, a, b, c, d, e, f = (*numbers, *([1.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0][len(numbers) :]))[:7]
    if kind == 0:
        return np.asarray(x**g)
    raised = np.maximum(a * x + b, 0.0) ** g
    if kind in (1, 2):
        return np.where(x >= -b / a, raised + (c if kind == 2 else 0.0), c if kind == 2 else 0.0)
    return np.where(x >= d, raised + e, c * x + f)


def as_srgb(pixels: Floats, data: bytes) -> Floats:
    """Pixels (h, w, 3) display-encoded of the file with bytes `data`, in sRGB whatever profile it carries."""
    profile = profile_of(data)
    return pixels if profile is None or profile.is_srgb else into_srgb(pixels, profile)
