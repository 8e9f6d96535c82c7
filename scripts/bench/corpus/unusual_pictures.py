"""Pictures as rarer programs write them, beside an OBJ: `PICTURES`."""

from __future__ import annotations

import io
import struct
import zlib
from collections.abc import Callable, Sequence
from typing import Any

import numpy as np
from PIL import Image

from . import scans
from .cases import Case, of_scan

KIND = "unusual picture"


def _pictured(make: Callable[[], bytes], suffix: str = ".png") -> Callable[[], Case]:
    def case() -> Case:
        name = f"colour{suffix}"
        return of_scan(KIND, {**{n: d for n, d in scans.scan("obj", picture=name).items()}, name: make()}, "scan.obj")

    return case


def _chunked(*more: tuple[bytes, bytes], pixels: bytes | None = None, head: tuple[int, ...] = (16, 16, 8, 2, 0, 0, 0)) -> bytes:
    """A PNG with further chunks behind its header."""

    def chunk(name: bytes, data: bytes) -> bytes:
        return struct.pack(">I", len(data)) + name + data + struct.pack(">I", zlib.crc32(name + data))

    rows = bytes(49 * 16) if pixels is None else pixels
    parts = [
        chunk(b"IHDR", struct.pack(">IIBBBBB", *head)),
        *(chunk(*each) for each in more),
        chunk(b"IDAT", zlib.compress(rows)),
        chunk(b"IEND", b""),
    ]
    return b"\x89PNG\r\n\x1a\n" + b"".join(parts)


def _saved(kind: str, array: Any, **more: Any) -> Callable[[], bytes]:
    def make() -> bytes:
        out = io.BytesIO()
        Image.fromarray(array).save(out, kind, **more)
        return out.getvalue()

    return make


def _exr(channels: Sequence[tuple[bytes, int]], size: int = 16, *, tiled: bool = False) -> bytes:
    """An uncompressed EXR (OpenEXR file layout) of channels with their kinds: 0 whole number, 1 half, 2 float."""
    rows = b"".join(name + b"\0" + struct.pack("<iB3xii", kind, 0, 1, 1) for name, kind in sorted(channels)) + b"\0"
    box = struct.pack("<4i", 0, 0, size - 1, size - 1)

    def attribute(name: bytes, kind: bytes, data: bytes) -> bytes:
        return name + b"\0" + kind + b"\0" + struct.pack("<i", len(data)) + data

    head = (
        struct.pack("<II", 20000630, 2 | (0x200 if tiled else 0))
        + b"".join(
            (
                attribute(b"channels", b"chlist", rows),
                attribute(b"compression", b"compression", b"\0"),
                attribute(b"dataWindow", b"box2i", box),
                attribute(b"displayWindow", b"box2i", box),
                attribute(b"lineOrder", b"lineOrder", b"\0"),
                attribute(b"pixelAspectRatio", b"float", struct.pack("<f", 1)),
                attribute(b"screenWindowCenter", b"v2f", bytes(8)),
                attribute(b"screenWindowWidth", b"float", struct.pack("<f", 1)),
            )
        )
        + b"\0"
    )
    width = sum((4, 2, 4)[kind] for _, kind in channels) * size
    start = len(head) + 8 * size
    table = struct.pack(f"<{size}Q", *(start + row * (8 + width) for row in range(size)))
    return head + table + b"".join(struct.pack("<ii", row, width) + bytes(width) for row in range(size))


NOISE = np.random.default_rng(3).integers(0, 255, (16, 16, 4), np.uint8)
PICTURES: tuple[Callable[[], Case], ...] = (
    _pictured(lambda: _chunked(head=(16, 16, 8, 2, 0, 0, 1))),
    _pictured(lambda: _chunked((b"iCCP", b"x\0\0" + zlib.compress(bytes(200_000_000))))),
    _pictured(lambda: _chunked((b"zTXt", b"x\0\0" + zlib.compress(bytes(200_000_000))))),
    _pictured(lambda: _chunked((b"gAMA", bytes(4)))),
    _pictured(lambda: _chunked((b"gAMA", b"\xff" * 4))),
    _pictured(lambda: _chunked((b"tRNS", bytes(6)))),
    _pictured(lambda: _chunked((b"eXIf", b"MM\0*" + b"\xff" * 40))),
    _pictured(lambda: _chunked((b"pHYs", b"\xff" * 9))),
    _pictured(lambda: _chunked(head=(16, 16, 16, 6, 0, 0, 0), pixels=bytes(129 * 16))),
    _pictured(lambda: _chunked(head=(16, 16, 8, 3, 0, 0, 0), pixels=bytes(17 * 16))),
    _pictured(lambda: _chunked(pixels=bytes(300_000_000))),
    _pictured(lambda: _chunked(head=(16, 16, 8, 2, 0, 0, 0), pixels=b"\x07" * 784)),
    _pictured(lambda: _chunked(head=(2**31 - 1, 1, 8, 2, 0, 0, 0))),
    _pictured(lambda: _chunked(head=(0, 0, 8, 2, 0, 0, 0))),
    _pictured(lambda: b"<svg xmlns='http://www.w3.org/2000/svg'/>"),
    _pictured(lambda: b"version https://git-lfs.github.com/spec/v1\noid sha256:4d\nsize 1\n"),
    _pictured(lambda: b"<!DOCTYPE html><html></html>"),
    _pictured(_saved("PNG", NOISE)),
    _pictured(_saved("WEBP", NOISE, lossless=True), ".webp"),
    _pictured(_saved("JPEG2000", NOISE[..., :3]), ".jp2"),
    _pictured(_saved("JPEG", NOISE[..., :3], icc_profile=bytes(100_000)), ".jpg"),
    _pictured(_saved("JPEG", NOISE[..., 0]), ".jpg"),
    _pictured(_saved("JPEG", NOISE[..., :3], exif=b"Exif\0\0II*\0\x08\0\0\0" + b"\xff" * 30_000), ".jpg"),
    _pictured(_saved("JPEG", NOISE[..., :3], comment=bytes(60_000)), ".jpeg"),
    _pictured(_saved("TIFF", NOISE, compression="tiff_adobe_deflate"), ".tif"),
    _pictured(_saved("TIFF", NOISE[..., 0].astype(np.uint16) * 200), ".tiff"),
    _pictured(_saved("TIFF", NOISE[..., 0].astype(np.int32) * -7), ".tif"),
    _pictured(_saved("TIFF", NOISE[..., 0] > 99, compression="group4"), ".tif"),
    _pictured(_saved("TIFF", NOISE[..., :3], save_all=True, append_images=[Image.fromarray(NOISE[..., :3])] * 5), ".tif"),
    _pictured(
        lambda: struct.pack("<2sHI", b"II", 42, 8) + struct.pack("<HHHIIHHIII", 2, 256, 4, 1, 16, 257, 4, 1, 16, 8), ".tif"
    ),
    _pictured(lambda: struct.pack("<2sHHHQ", b"II", 43, 8, 0, 16) + struct.pack("<Q", 2**62), ".tif"),
    _pictured(lambda: b"8BPS\0\1" + bytes(600), ".psd"),
    _pictured(lambda: b"DDS " + bytes(124) + b"\xff" * 300, ".dds"),
    _pictured(lambda: b"#?RADIANCE\nFORMAT=32-bit_rle_rgbe\n\n-Y 99999 +X 99999\n", ".hdr"),
    _pictured(lambda: b"\0\0\0\x18ftypheic" + bytes(200), ".heic"),
    _pictured(lambda: b"\0\0\0\x18ftypheic" + bytes(200), ".jpg"),
    _pictured(lambda: b"\0\0\0\x1cftypavif" + bytes(200), ".avif"),
    *(
        _pictured(lambda channels=channels: _exr(channels), ".exr")
        for channels in (
            [(b"R", 1), (b"G", 1), (b"B", 1)],
            [(b"Y", 1)],
            [(b"R", 2)],
            [(b"view.left.R", 1), (b"view.left.G", 1)],
            [(b"Z", 2), (b"id", 0)],
            [(b"RY", 1), (b"BY", 1), (b"Y", 1)],
            [(bytes([65 + n % 26]) + b"%d" % n, 1) for n in range(300)],
            [],
        )
    ),
    _pictured(lambda: _exr([(b"R", 1), (b"G", 1), (b"B", 1)], tiled=True), ".exr"),
    _pictured(lambda: _exr([(b"R", 9), (b"G", 1)][1:], 3000)[:4000], ".exr"),
)
"""Every case."""
