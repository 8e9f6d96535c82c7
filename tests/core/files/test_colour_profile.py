"""Is a photo with a wide-gamut profile read in its true colours? Against Little CMS, by way of Pillow's ImageCms.

The profile is ours (`pictures/icc.py`), whose bytes are checked on their own; curves of other kinds are made here as ICC.1:2022
has them.
"""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
from PIL import Image, ImageCms

from blender_addon.core.files.pictures.colour_profile import as_srgb, into_srgb, profile_of
from blender_addon.core.files.pictures.icc import P3D65, REC2020, SRGB, profile


def _picture() -> np.ndarray:
    """(16, 16, 3) 8-bit colours within sRGB when read as P3: muted ones."""
    rng = np.random.default_rng(2)
    grey = rng.integers(30, 220, (16, 16, 1))
    return np.clip(grey + rng.integers(-25, 25, (16, 16, 3)), 0, 255).astype(np.uint8)


def _file(pixels: np.ndarray, data: bytes | None, kind: str = "PNG") -> bytes:
    packed = io.BytesIO()
    Image.fromarray(pixels).save(packed, kind, icc_profile=data, quality=100, subsampling=0)
    return packed.getvalue()


@pytest.mark.parametrize("gamut", [P3D65, REC2020])
def test_colours_come_out_as_little_cms_has_them(gamut: object) -> None:
    pixels, wide = _picture(), profile(gamut)  # type: ignore[arg-type]
    there = ImageCms.profileToProfile(
        Image.fromarray(pixels), ImageCms.ImageCmsProfile(io.BytesIO(wide)), ImageCms.createProfile("sRGB"), renderingIntent=1
    )
    ours = 255 * as_srgb(pixels.astype(np.float32) / 255, _file(pixels, wide))
    assert np.abs(ours - np.asarray(there)).max() < 1.6  # theirs is rounded to 8 bits, its sRGB has matrices of four digits
    assert np.abs(ours - pixels).max() > 5  # and it is not what the file says


def test_a_profile_in_a_jpeg_is_found_and_srgb_is_left_alone() -> None:
    pixels = _picture()
    found = profile_of(_file(pixels, profile(P3D65), "JPEG"))
    assert found is not None and not found.is_srgb
    values = pixels.astype(np.float32) / 255
    assert as_srgb(values, _file(pixels, profile(SRGB), "JPEG")) is values
    assert as_srgb(values, _file(pixels, None, "JPEG")) is values


@pytest.mark.parametrize(
    ("curve", "x", "y"),
    [
        (b"curv" + bytes(4) + struct.pack(">I", 0), 0.5, 0.5),
        (b"curv" + bytes(4) + struct.pack(">IH", 1, int(2.2 * 256)), 0.5, 0.5**2.2),
        (b"curv" + bytes(4) + struct.pack(">I3H", 3, 0, 16384, 65535), 0.75, (0.25 + 1.0) / 2),
        (b"para" + bytes(4) + struct.pack(">HHi", 0, 0, int(1.8 * 65536)), 0.3, 0.3**1.8),
    ],
)
def test_curves_of_each_kind(curve: bytes, x: float, y: float) -> None:
    whole = profile(SRGB)
    offset = whole.index(b"para")
    (count,) = struct.unpack_from(">I", whole, 128)
    changed = bytearray(whole + curve)
    for number in range(count):
        start = 132 + 12 * number
        if changed[start : start + 4] in (b"rTRC", b"gTRC", b"bTRC"):
            assert struct.unpack_from(">I", changed, start + 4)[0] == offset
            struct.pack_into(">II", changed, start + 4, len(whole), len(curve))
    found = profile_of(_file(_picture(), bytes(changed)))
    assert found is not None
    assert np.interp(x, np.linspace(0, 1, 1024), found.curves[1]) == pytest.approx(y, abs=0.004)


def test_a_damaged_profile_or_one_of_tables_leaves_the_picture() -> None:
    whole = profile(P3D65)
    values = _picture().astype(np.float32) / 255
    for broken in (whole[:140], whole[:16] + b"CMYK" + whole[20:], bytes(200)):
        assert as_srgb(values, _file(_picture(), broken)) is values


def test_colours_beyond_srgb_end_at_its_border() -> None:
    found = profile_of(_file(_picture(), profile(P3D65)))
    assert found is not None
    red = into_srgb(np.array([[[1.0, 0.0, 0.0]]], np.float32), found)
    assert red.max() <= 1.0 and red[0, 0, 0] == pytest.approx(1.0, abs=1e-4) and red.min() >= 0.0
