"""Are the few fields that count read as CIPA DC-008-2019 ("Exif 2.32") lays them out, and damage passed over in silence?

Bytes are written by hand after its sections 4.5 and 4.6 (TIFF 6.0 directories of 12-byte entries), and once by another writer.
"""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest
from PIL import Image

from blender_addon.core.files.pictures.exif import as_held, photo_fields


def _jpeg(order: str, *, orientation: int = 6, focal: tuple[int, int] = (85, 10), film: int = 52) -> bytes:
    """A JPEG's head with an Exif segment: Orientation in the first directory, the focal lengths in the camera's."""
    mark = b"II" if order == "<" else b"MM"
    head = mark + struct.pack(order + "HI", 42, 8)
    first = struct.pack(order + "H", 2)
    first += struct.pack(order + "HHIHH", 0x0112, 3, 1, orientation, 0) + struct.pack(
        order + "HHII", 0x8769, 4, 1, 8 + 2 + 24 + 4
    )
    first += struct.pack(order + "I", 0)
    start = len(head) + len(first)
    camera = struct.pack(order + "H", 2)
    camera += struct.pack(order + "HHII", 0x920A, 5, 1, start + 2 + 24 + 4) + struct.pack(
        order + "HHIHH", 0xA405, 3, 1, film, 0
    )
    camera += struct.pack(order + "I", 0) + struct.pack(order + "II", *focal)
    block = b"Exif\0\0" + head + first + camera
    return b"\xff\xd8\xff\xe1" + struct.pack(">H", len(block) + 2) + block + b"\xff\xd9"


@pytest.mark.parametrize("order", ["<", ">"])
def test_orientation_and_focal_lengths_in_both_byte_orders(order: str) -> None:
    found = photo_fields(_jpeg(order))
    assert (found.orientation, found.focal_mm, found.focal_35mm) == (6, 8.5, 52.0)


def test_zero_stands_for_an_unknown_focal_length_and_nine_for_no_orientation() -> None:
    found = photo_fields(_jpeg("<", orientation=9, focal=(0, 0), film=0))
    assert (found.orientation, found.focal_mm, found.focal_35mm) == (1, None, None)


def test_any_cut_and_any_changed_byte_says_something_plain() -> None:
    whole = _jpeg(">")
    rng = np.random.default_rng(0)
    for length in range(len(whole)):
        photo_fields(whole[:length])
    for _ in range(300):
        changed = bytearray(whole)
        changed[rng.integers(len(whole))] = int(rng.integers(256))
        assert 1 <= photo_fields(bytes(changed)).orientation <= 8


def test_a_file_by_another_writer_and_one_without_exif() -> None:
    image, exif, packed = Image.new("RGB", (8, 6)), Image.Exif(), io.BytesIO()
    exif[0x0112] = 8
    exif.get_ifd(0x8769)[0xA405] = 26
    image.save(packed, "JPEG", exif=exif.tobytes())
    found = photo_fields(packed.getvalue())
    assert (found.orientation, found.focal_35mm) == (8, 26.0)
    plain = io.BytesIO()
    image.save(plain, "JPEG")
    assert photo_fields(plain.getvalue()).orientation == 1 and photo_fields(b"\x89PNG").focal_mm is None


@pytest.mark.parametrize("orientation", range(1, 9))
def test_pixels_are_turned_as_another_reader_turns_them(orientation: int) -> None:
    """Pillow's ImageOps.exif_transpose, an independent reading of the same table (CIPA DC-008, 4.6.4 A)."""
    from PIL import ImageOps

    stored = np.arange(24, dtype=np.uint8).reshape(4, 6)
    image, exif, packed = Image.fromarray(stored), Image.Exif(), io.BytesIO()
    exif[0x0112] = orientation
    image.save(packed, "PNG", exif=exif.tobytes())
    wanted = np.asarray(ImageOps.exif_transpose(Image.open(io.BytesIO(packed.getvalue()))))
    assert np.array_equal(as_held(stored, orientation), wanted)
