"""What do a picture's numbers mean as colours? An ICC profile made from primaries, white point and curve.

Profiles are of version 4 (ICC.1:2010): three colorants adapted to the profile white D50 by the linear Bradford matrix
(Annex E), the adaptation itself in the tag 'chad', and one parametric curve. Primaries and white points by chromaticity:
IEC 61966-2-1 (sRGB), Rec. ITU-R BT.2020-2, table 3, and SMPTE EG 432-1 (the primaries of RP 431-2 with a white of D65). All
three carry the curve of IEC 61966-2-1: the two wide ones are for stills, which are seen as an sRGB picture is.
"""

from __future__ import annotations

import hashlib
import struct

import numpy as np

from ...arrays import Floats
from ...records import record

D50 = (0.9642, 1.0, 0.8249)
"""The white of the profile connection space, ICC.1:2010, 7.2.16."""
D65 = (0.3127, 0.3290)
"""Chromaticity (x, y) of the white that all three share."""
CURVE = (2.4, 1.0 / 1.055, 0.055 / 1.055, 1.0 / 12.92, 0.04045)
"""g, a, b, c, d of the curve of IEC 61966-2-1 as ICC's function of type 3: (a X + b)^g from d on, c X below."""
BRADFORD = np.array([[0.8951, 0.2664, -0.1614], [-0.7502, 1.7135, 0.0367], [0.0389, -0.0685, 1.0296]])
"""Cone responses of the linear Bradford adaptation, ICC.1:2010, Annex E."""
LICENCE = "No rights reserved: CC0 1.0"


@record
class Gamut:
    """A set of primaries: key, the profile's name, chromaticities (x, y) of red, green, blue; the white is D65."""

    key: str
    name: str
    red: tuple[float, float]
    green: tuple[float, float]
    blue: tuple[float, float]

    def to_xyz(self) -> Floats:
        """(3, 3) from linear numbers to XYZ, white at Y = 1 (SMPTE RP 177)."""
        columns = np.array([_xyz(*place) for place in (self.red, self.green, self.blue)]).T
        return np.asarray(columns * np.linalg.solve(columns, _xyz(*D65)))


SRGB = Gamut("srgb", "sRGB IEC 61966-2-1", (0.640, 0.330), (0.300, 0.600), (0.150, 0.060))
REC2020 = Gamut("rec2020", "BT.2020 primaries, sRGB curve", (0.708, 0.292), (0.170, 0.797), (0.131, 0.046))
P3D65 = Gamut("p3d65", "EG 432-1 primaries, D65, sRGB curve", (0.680, 0.320), (0.265, 0.690), (0.150, 0.060))
"""The sets of primaries that pictures are delivered in; sources above."""
GAMUTS = {gamut.key: gamut for gamut in (SRGB, REC2020, P3D65)}


def _xyz(x: float, y: float) -> Floats:
    return np.array([x / y, 1.0, (1.0 - x - y) / y])


def between(source: Gamut, target: Gamut) -> Floats:
    """(3, 3) from linear numbers of one gamut to those of another; the white is the same."""
    return np.linalg.solve(target.to_xyz(), source.to_xyz())


def adaptation() -> Floats:
    """(3, 3) from XYZ under D65 to XYZ under D50."""
    gains = (BRADFORD @ np.array(D50)) / (BRADFORD @ _xyz(*D65))
    return np.linalg.solve(BRADFORD, gains[:, None] * BRADFORD)


def profile(gamut: Gamut) -> bytes:
    """The profile as it is put into picture files."""
    adapted = adaptation()
    colorants = adapted @ gamut.to_xyz()
    curve = b"para" + struct.pack(">IHH", 0, 3, 0) + b"".join(_fixed(value) for value in CURVE)
    tags = [
        (b"desc", _words(gamut.name)), (b"cprt", _words(LICENCE)), (b"wtpt", _place(D50)),
        (b"chad", b"sf32" + bytes(4) + b"".join(_fixed(value) for value in adapted.ravel())),
        *((tag, _place(column)) for tag, column in zip((b"rXYZ", b"gXYZ", b"bXYZ"), colorants.T, strict=True)),
        *((tag, curve) for tag in (b"rTRC", b"gTRC", b"bTRC")),
    ]  # fmt: skip
    body, table, known = b"", b"", dict[bytes, int]()
    start = 128 + 4 + 12 * len(tags)
    for tag, data in tags:
        if data not in known:  # equal tags share their data
            known[data] = start + len(body)
            body += data + bytes(-len(data) % 4)
        table += tag + struct.pack(">II", known[data], len(data))
    whole = _header(start + len(body)) + struct.pack(">I", len(tags)) + table + body
    # The identity is a digest of all but flags, rendering intent and itself (7.2.18).
    blank = whole[:44] + bytes(4) + whole[48:64] + bytes(4) + whole[68:84] + bytes(16) + whole[100:]
    return whole[:84] + hashlib.md5(blank, usedforsecurity=False).digest() + whole[100:]


def _header(size: int) -> bytes:
    """7.2: a display profile from RGB to XYZ. The date is a fixed one, so that equal pictures are equal files."""
    date = struct.pack(">6H", 2026, 1, 1, 0, 0, 0)
    return (
        struct.pack(">I", size) + bytes(4) + struct.pack(">I", 0x04300000) + b"mntrRGB XYZ " + date + b"acsp"
        + bytes(28) + b"".join(_fixed(value) for value in D50) + bytes(48)
    )  # fmt: skip


def _fixed(value: float) -> bytes:
    """s15Fixed16Number."""
    return struct.pack(">i", round(float(value) * 65536.0))


def _place(xyz: tuple[float, ...] | Floats) -> bytes:
    return b"XYZ " + bytes(4) + b"".join(_fixed(value) for value in xyz)


def _words(text: str) -> bytes:
    """multiLocalizedUnicodeType with one English record."""
    data = text.encode("utf-16-be")
    return b"mluc" + struct.pack(">III2s2sII", 0, 1, 12, b"en", b"US", len(data), 28) + data
