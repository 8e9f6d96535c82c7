"""Are a camera's labels read as the standard has them? Files are laid out here by hand, and once more written by Pillow.

CIPA DC-008-2019 (Exif 2.32): 4.5.4 (APP1), 4.6.2 (types), 4.6.4 and 4.6.5 (tags); its APEX values: annex C.
"""

from __future__ import annotations

import io
import struct

import numpy as np
import pytest

from blender_addon.core.files.pictures.exif import Exif, read_exif

SHORT, LONG, RATIONAL, ASCII = 3, 4, 5, 2


def packed(order: str, entries: list[tuple[int, int, object]], at: int) -> bytes:
    """A directory at byte `at` of the TIFF block, values of more than four bytes behind it (4.6.2)."""
    behind = at + 2 + 12 * len(entries) + 4
    table, more = struct.pack(order + "H", len(entries)), b""
    for tag, kind, value in entries:
        if kind == ASCII:
            data = str(value).encode() + b"\0"
            count = len(data)
        elif kind == RATIONAL:
            data, count = struct.pack(order + "II", *value), 1  # type: ignore[misc]
        else:
            data, count = struct.pack(order + {SHORT: "H", LONG: "I"}[kind], value), 1
        place = data.ljust(4, b"\0") if len(data) <= 4 else struct.pack(order + "I", behind + len(more))
        more += data + bytes(len(data) % 2) if len(data) > 4 else b""
        table += struct.pack(order + "HHI", tag, kind, count) + place
    return table + bytes(4) + more


def jpeg(order: str) -> bytes:
    """The start of a JPEG file with the labels of a photo at 1/125 s, f/2, ISO 400."""
    mark = b"II" if order == "<" else b"MM"
    first = [(0x010F, ASCII, "Maker"), (0x0110, ASCII, "M1"), (0x0112, SHORT, 6)]
    length = len(packed(order, [*first, (0x8769, LONG, 0)], 8))
    outer = packed(order, [*first, (0x8769, LONG, 8 + length)], 8)
    inner = [
        (0x829A, RATIONAL, (1, 125)), (0x829D, RATIONAL, (2, 1)), (0x8827, SHORT, 400), (0x9003, ASCII, "2026:05:04 10:11:12"),
        (0x9209, SHORT, 0x19), (0x920A, RATIONAL, (42, 10)), (0x9291, ASCII, "250"), (0xA402, SHORT, 0), (0xA403, SHORT, 1),
        (0xA404, RATIONAL, (3, 2)), (0xA405, SHORT, 26),
    ]  # fmt: skip
    tiff = mark + struct.pack(order + "HI", 42, 8) + outer + packed(order, inner, 8 + length)
    other = b"\xff\xe0" + struct.pack(">H", 16) + bytes(14)
    return b"\xff\xd8" + other + b"\xff\xe1" + struct.pack(">H", len(tiff) + 8) + b"Exif\0\0" + tiff + b"\xff\xda"


@pytest.mark.parametrize("order", ["<", ">"])
def test_every_field_in_both_byte_orders(order: str) -> None:
    found = read_exif(jpeg(order))
    assert found == Exif(
        make="Maker", model="M1", taken="2026:05:04 10:11:12.250", orientation=6, seconds=1 / 125, f_number=2.0,
        sensitivity=400.0, focal_mm=4.2, focal_35=26.0, zoom=1.5, flash=True, locked=False, white_locked=True,
    )  # fmt: skip
    assert found.from_camera


def test_the_exposure_value_is_that_of_apex() -> None:
    """Annex C: Av = log2 N^2, Tv = log2 1/t, and Sv is 5 at ISO 100; f/2 at 1/125 s is Av 2, Tv 6.97; ISO 400 takes two off."""
    value = read_exif(jpeg("<")).exposure_value
    assert value == pytest.approx(2.0 + np.log2(125.0) - 2.0, abs=1e-9)


def test_what_pillow_writes_is_read() -> None:
    image = pytest.importorskip("PIL.Image")
    labels = image.Exif()
    labels[0x0110], labels[0x0112] = "Pocket 3", 8
    inner = labels.get_ifd(0x8769)
    inner[0x829A], inner[0x8827], inner[0x9003] = 0.004, 64, "2026:01:02 03:04:05"
    file = io.BytesIO()
    image.new("RGB", (16, 8)).save(file, "JPEG", exif=labels)
    found = read_exif(file.getvalue())
    assert (found.model, found.orientation, found.sensitivity) == ("Pocket 3", 8, 64.0)
    assert found.seconds == pytest.approx(0.004)
    assert found.taken == "2026:01:02 03:04:05"


def test_damaged_labels_are_left_out_and_nothing_is_raised() -> None:
    """Each byte changed, and each length cut: words may be lost, the photo is not."""
    whole = jpeg("<")
    rng = np.random.default_rng(3)
    for place in range(2, len(whole)):
        changed = bytearray(whole)
        changed[place] = int(rng.integers(0, 256))
        assert 1 <= read_exif(bytes(changed)).orientation <= 8
        assert isinstance(read_exif(whole[:place]), Exif)
    assert read_exif(b"no jpeg") == Exif()


def test_a_camera_shows_by_its_name_or_by_its_exposure() -> None:
    """Annex A there: Make, Model and ExposureTime are each optional; software and an orientation are written by any program."""
    assert Exif(make="Maker").from_camera and Exif(model="M1").from_camera and Exif(seconds=1 / 60).from_camera
    assert not Exif(software="Editor 3", orientation=6, taken="2026:05:04 10:11:12").from_camera
