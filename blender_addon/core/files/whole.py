"""Is a file complete? Each format says where it ends; a program that runs out of disk space leaves files that end earlier.

A check reads what the format itself provides: lengths, checksums, tables of offsets, end marks. It finds truncated files
and, where the format has checksums (PNG), files with changed bytes. It does not decode pictures.
"""

from __future__ import annotations

import json
import struct
import tomllib
import zlib
from collections.abc import Callable
from pathlib import Path

from .pictures.exr import chunk_places

_STEP = 1 << 20
"""Bytes that are read at a time, to bound memory."""


def damage(path: Path) -> str:
    """What is wrong with a file, as the end of a sentence ('ends before its end mark'); '' when it is whole.

    The format is taken from the suffix. Of an unknown kind only an empty file is found. Raises OSError.
    """
    size = path.stat().st_size
    if size == 0:
        return "is empty"
    check = _CHECKS.get(path.suffix.lower())
    if check is None:
        return ""
    try:
        return check(path, size)
    except (struct.error, ValueError, EOFError, IndexError):
        return "is cut or is not a file of its kind"


def _png(path: Path, size: int) -> str:
    """ISO/IEC 15948: signature, then chunks with a checksum each; IHDR first, IDAT, IEND last."""
    with path.open("rb") as file:
        if file.read(8) != b"\x89PNG\r\n\x1a\n":
            return "is no PNG file"
        kinds: list[bytes] = []
        while not kinds or kinds[-1] != b"IEND":
            head = file.read(8)
            if len(head) < 8:
                return "ends before its end mark"
            (length,), kind = struct.unpack(">I", head[:4]), head[4:]
            crc, left = zlib.crc32(kind), length
            if length > size:
                return "ends before its end mark"
            while left:
                part = file.read(min(left, _STEP))
                if not part:
                    return "ends before its end mark"
                crc, left = zlib.crc32(part, crc), left - len(part)
            if file.read(4) != struct.pack(">I", crc):
                return "has a wrong checksum"
            kinds.append(kind)
    return "" if kinds[0] == b"IHDR" and b"IDAT" in kinds else "holds no picture"


def _jpeg(path: Path, size: int) -> str:
    """ITU-T T.81, B.1.1.3: start of image, marker segments to the scan, end of image."""
    data = path.read_bytes()
    if data[:2] != b"\xff\xd8":
        return "is no JPEG file"
    place = 2
    while data[place] == 0xFF and data[place + 1] != 0xDA:
        place += 2 + struct.unpack_from(">H", data, place + 2)[0]
    if data[place : place + 2] != b"\xff\xda":
        return "holds no picture"
    return "" if data[-2:] == b"\xff\xd9" else "ends before its end mark"


def _tiff(path: Path, size: int) -> str:
    """TIFF 6.0: the directory and every strip that it names lie inside the file."""
    with path.open("rb") as file:
        head = file.read(8)
        order = {b"II*\0": "<", b"MM\0*": ">"}.get(head[:4])
        if order is None:
            return "is no TIFF file"
        places, counts = (_tiff_values(path, order, head, size, tag) for tag in (273, 279))
        if not places or len(places) != len(counts):
            return "holds no picture"
        ends = [place + count for place, count in zip(places, counts, strict=True)]
        return "" if max(ends) <= size and min(counts) > 0 else "ends before its last strip"


def _tiff_values(path: Path, order: str, head: bytes, size: int, tag: int) -> list[int]:
    """The numbers of one entry of the first directory."""
    (start,) = struct.unpack(f"{order}I", head[4:])
    with path.open("rb") as file:
        file.seek(start)
        (count,) = struct.unpack(f"{order}H", file.read(2))
        if start + 2 + 12 * count + 4 > size:
            raise ValueError("a directory that ends too early")
        for _ in range(count):
            entry = file.read(12)
            number, kind, length = struct.unpack(f"{order}HHI", entry[:8])
            if number != tag:
                continue
            form = {3: "H", 4: "I"}[kind] if kind in (3, 4) else "B"
            width = struct.calcsize(form) * length
            if width > size:
                raise ValueError("a table longer than the file")
            if width <= 4:
                raw = entry[8 : 8 + width]
            else:
                file.seek(struct.unpack(f"{order}I", entry[8:])[0])
                raw = file.read(width)
            return list(struct.unpack(f"{order}{length}{form}", raw))
    return []


def _exr(path: Path, size: int) -> str:
    """OpenEXR file layout: the table of offsets names every chunk, and a chunk says how long it is."""
    with path.open("rb") as file:
        places, head = chunk_places(file)
        if not places or min(places) <= 0 or max(places) + head > size:
            return "ends before its last lines"
        file.seek(max(places) + head - 4)
        (length,) = struct.unpack("<i", file.read(4))
    return "" if max(places) + head + length <= size else "ends before its last lines"


def _mp4(path: Path, size: int) -> str:
    """ISO/IEC 14496-12: boxes that fill the file; 'moov' says where the pictures are, 'mdat' holds them."""
    kinds, place = [], 0
    with path.open("rb") as file:
        while place < size:
            file.seek(place)
            head = file.read(16)
            length, kind = struct.unpack(">I4s", head[:8])
            if length == 1:
                (length,) = struct.unpack(">Q", head[8:16])
            elif length == 0:
                length = size - place
            if length < 8:
                return "is no MP4 file"
            kinds.append(kind)
            place += length
    if place != size:
        return "ends inside a box"
    return "" if b"moov" in kinds and b"mdat" in kinds else "ends before the list of its pictures"


def _webm(path: Path, size: int) -> str:
    """Matroska (RFC 9559): an EBML header, then one segment that reaches to the end; RFC 8794 for the lengths."""
    with path.open("rb") as file:
        data = file.read(4096)
    if data[:4] != b"\x1a\x45\xdf\xa3":
        return "is no WebM file"
    place, length = _ebml_length(data, 4)
    place += length
    if data[place : place + 4] != b"\x18\x53\x80\x67":
        return "holds no film"
    start, length = _ebml_length(data, place + 4)
    return "" if start + length == size else "ends before its end"


def _ebml_length(data: bytes, place: int) -> tuple[int, int]:
    """(place after it, value) of a length of variable size; ValueError where it is not known yet."""
    first = data[place]
    width = 9 - first.bit_length()
    value = int.from_bytes(data[place : place + width], "big") & ((1 << 7 * width) - 1)
    if value == (1 << 7 * width) - 1:
        raise ValueError("a length that was never written")
    return place + width, value


def _glb(path: Path, size: int) -> str:
    """Khronos glTF 2.0, "GLB File Format": the header holds the length of the whole."""
    with path.open("rb") as file:
        head = file.read(12)
    magic, version, length = struct.unpack("<4sII", head)
    if magic != b"glTF" or version != 2:
        return "is no GLB file"
    return "" if length == size else "is not as long as it says"


def _usdc(path: Path, size: int) -> str:
    """A crate file of OpenUSD: its table of contents, which is written last, lies inside the file."""
    with path.open("rb") as file:
        head = file.read(24)
        if head[:8] != b"PXR-USDC":
            return "is no USD crate"
        (place,) = struct.unpack("<q", head[16:24])
        if not 0 < place <= size - 8:
            return "ends before its table of contents"
        file.seek(place)
        (count,) = struct.unpack("<Q", file.read(8))
        sections = [struct.unpack("<16sqq", file.read(32)) for _ in range(min(count, 64))]
    return "" if count and all(start + length <= size for _, start, length in sections) else "is cut"


def _blend(path: Path, size: int) -> str:
    """A .blend ends with the block ENDB; a compressed one is Zstandard frames with a seek table at the end."""
    with path.open("rb") as file:
        head = file.read(12)
        file.seek(max(0, size - 64))
        tail = file.read()
    if head[:4] == b"\x28\xb5\x2f\xfd":
        return "" if tail[-4:] == b"\xb1\xea\x92\x8f" else "ends before its table of frames"
    if head[:7] != b"BLENDER":
        return "is no .blend file"
    return "" if b"ENDB" in tail else "ends before its end mark"


def _json(path: Path, size: int) -> str:
    """RFC 8259."""
    json.loads(path.read_text(encoding="utf-8"))
    return ""


def _toml(path: Path, size: int) -> str:
    """TOML 1.0."""
    tomllib.loads(path.read_text(encoding="utf-8"))
    return ""


def _html(path: Path, size: int) -> str:
    """A page of ours ends with its closing tag."""
    return "" if path.read_bytes().rstrip().endswith(b"</html>") else "ends before its closing tag"


_CHECKS: dict[str, Callable[[Path, int], str]] = {
    ".png": _png, ".jpg": _jpeg, ".jpeg": _jpeg, ".tif": _tiff, ".tiff": _tiff, ".exr": _exr, ".mp4": _mp4, ".webm": _webm,
    ".glb": _glb, ".usdc": _usdc, ".blend": _blend, ".json": _json, ".toml": _toml, ".html": _html,
}  # fmt: skip
