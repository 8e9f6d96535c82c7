"""Is a picture's size read from its header as other readers see it, and what announces too much refused?"""

from __future__ import annotations

import io
import struct
import zlib
from pathlib import Path

import numpy as np
import pytest

from blender_addon.core.files.meshes.ply import FileProblem
from blender_addon.core.files.pictures.picture_headers import MOST_PIXELS, check_picture, check_picture_bytes, picture_size

SIZE = (37, 23)


def size_of(data: bytes, name: str = "") -> tuple[int, int] | None:
    found = picture_size(io.BytesIO(data), name)
    return None if found is None else (found.width, found.height)


@pytest.mark.parametrize("format", ["PNG", "JPEG", "TIFF", "BMP", "WEBP", "TGA", "JPEG2000", "SGI", "DDS"])
@pytest.mark.parametrize("mode", ["RGB", "L"])
def test_files_written_by_pillow(format: str, mode: str) -> None:
    """Pillow's encoders are the independent side."""
    image_module = pytest.importorskip("PIL.Image")
    random = np.random.default_rng(1).integers(0, 255, (SIZE[1], SIZE[0], 3), np.uint8)
    image = image_module.fromarray(random).convert(mode)
    data = io.BytesIO()
    image.save(data, format)
    assert size_of(data.getvalue(), "a.tga" if format == "TGA" else "") == SIZE


@pytest.mark.parametrize("bits", [8, 15, 16, 24, 32])
@pytest.mark.parametrize("kind", [1, 2, 3, 9, 10, 11])
def test_every_kind_of_tga_is_known_by_its_name_alone(kind: int, bits: int) -> None:
    """Truevision TGA 2.0, fields 3 and 5: image types 1 to 3 and 9 to 11, widths, heights and depths as the format allows."""
    header = struct.pack("<BBBHHBHHHHBB", 0, kind in (1, 9), kind, 0, 0, 0, 0, 0, *SIZE, bits, 0) + bytes(64)
    found = picture_size(io.BytesIO(header), "A.TGA")
    assert found is not None and (found.width, found.height, found.bytes_a_pixel) == (*SIZE, bits / 8)
    assert picture_size(io.BytesIO(header), "a.png") is None
    for wrong in (header[:2] + b"\x04" + header[3:], header[:16] + b"\x11" + header[17:]):
        assert picture_size(io.BytesIO(wrong), "a.tga") is None


def test_a_jpeg_behind_long_metadata_and_a_lossless_webp() -> None:
    image_module = pytest.importorskip("PIL.Image")
    image = image_module.new("RGB", SIZE)
    plain, lossless = io.BytesIO(), io.BytesIO()
    image.save(plain, "JPEG", progressive=True)
    image.save(lossless, "WEBP", lossless=True)
    long = b"\xff\xe1" + struct.pack(">H", 65535) + b"\0" * 65533
    assert size_of(plain.getvalue()[:2] + 3 * long + plain.getvalue()[2:]) == SIZE
    assert size_of(lossless.getvalue()) == SIZE


def test_formats_written_by_hand() -> None:
    """OpenEXR's header, Radiance's text, Photoshop's and DPX's fixed places, each as its specification lays it out."""
    window = struct.pack("<4i", 5, 7, 5 + SIZE[0] - 1, 7 + SIZE[1] - 1)
    channels = b"".join(name + b"\0" + struct.pack("<i4xii", 1, 1, 1) for name in (b"B", b"G", b"R")) + b"\0"
    attributes = b"".join(
        name + b"\0" + kind + b"\0" + struct.pack("<i", len(value)) + value
        for name, kind, value in ((b"channels", b"chlist", channels), (b"dataWindow", b"box2i", window))
    )
    exr = b"\x76\x2f\x31\x01\x02\0\0\0" + attributes + b"\0"
    found = picture_size(io.BytesIO(exr))
    assert found is not None and (found.width, found.height, found.bytes_a_pixel) == (*SIZE, 6.0)
    assert size_of(b"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y 23 +X 37\n" + b"\2\2\0\x25") == SIZE
    assert size_of(b"8BPS\0\1" + b"\0" * 6 + struct.pack(">HIIHH", 3, SIZE[1], SIZE[0], 8, 3)) == SIZE
    assert size_of(b"SDPX" + b"\0" * 768 + struct.pack(">II", *SIZE)) == SIZE


@pytest.mark.parametrize(
    "data",
    [
        b"", b"GIF89a" + b"\0" * 60, b"#EXTM3U\nhttps://example.org/x.ts\n", b"\x89PNG\r\n\x1a\n", b"\xff\xd8\xff",
        b"\xff\xd8\xff\xe0\0\x10" + b"\0" * 40, b"II\x2a\0\xff\xff\xff\xff", b"II\x2b\0\x08\0\0\0" + b"\xff" * 8,
        b"\x76\x2f\x31\x01\x02\0\0\0channels\0chlist\0\xff\xff\xff\xff", b"RIFF\0\0\0\0WEBPVP8X", b"<svg/>", b"BM",
    ],
)  # fmt: skip
def test_what_is_no_picture_has_no_size(data: bytes) -> None:
    assert size_of(data) is None
    with pytest.raises(FileProblem, match="not a picture that can be read"):
        check_picture_bytes(data)


def png(width: int, height: int, *, body: int = 1000) -> bytes:
    def chunk(kind: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))

    header = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    data = zlib.compress(bytes(body))
    return b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", header) + chunk(b"IDAT", data) + chunk(b"IEND", b"")


def test_a_picture_that_announces_too_much_is_refused_with_its_numbers(tmp_path: Path) -> None:
    with pytest.raises(FileProblem, match=r"100,000 x 100,000 pixels.*256 million.*16384 x 16384 or less"):
        check_picture_bytes(png(100_000, 100_000))
    with pytest.raises(FileProblem, match=r"16,000 x 16,000 pixels, which its .* bytes can't hold"):
        check_picture_bytes(png(16_000, 16_000))
    (tmp_path / "a.png").write_bytes(png(20, 16))
    assert check_picture(tmp_path / "a.png").width == 20
    assert MOST_PIXELS == 16384**2


def test_any_cut_or_flip_of_a_header_is_an_answer() -> None:
    """No exception but ours, whatever the bytes say."""
    image_module = pytest.importorskip("PIL.Image")
    for format in ("PNG", "JPEG", "TIFF", "BMP", "WEBP", "JPEG2000"):
        data = io.BytesIO()
        image_module.new("RGB", SIZE, (9, 99, 199)).save(data, format)
        whole = data.getvalue()
        for place in range(min(len(whole), 400)):
            for spoilt in (whole[:place], whole[:place] + bytes([whole[place] ^ 0xFF]) + whole[place + 1 :]):
                try:
                    check_picture_bytes(spoilt)
                except FileProblem:
                    continue
