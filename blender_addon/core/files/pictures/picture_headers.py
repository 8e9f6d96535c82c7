"""How large is a picture, by its header alone? Read by our own code, so that no decoder allocates what a header only claims.

Each format's own specification is followed; only formats that Blender reads as still pictures are known. A file of any other
kind (a film, a playlist, a text) has no size here and is never handed to a decoder.
"""

from __future__ import annotations

import io
import re
import struct
from collections.abc import Callable
from pathlib import Path
from typing import BinaryIO

from ... import memory
from ...records import record
from ..meshes.ply import FileProblem
from ..plain_files import plain_file
from ..references import Reference
from ..texture_names import PICTURES

MOST_PIXELS = 16384 * 16384
"""A square 16 K texture, the largest in common use (common practice); Blender holds it in 1 GiB."""
MOST_SIDE = 65535
"""Longest side: what most decoders take."""
READABLE = "PNG, JPEG, TIFF, OpenEXR, TGA, BMP or WebP"
_DEFLATE_BEST = 1032
"""Most that deflate packs one byte's worth into (RFC 1951: 258 bytes a two-bit match): a PNG can't hold more than that."""


@record
class PictureSize:
    """What a header says: the format, width and height in pixels, and bytes a pixel as stored unpacked (0: not known)."""

    format: str
    width: int
    height: int
    bytes_a_pixel: float = 0.0


def picture_size(file: BinaryIO, name: str = "") -> PictureSize | None:
    """The size that a picture's header gives; None for a damaged file or one of a kind that Blender does not read.

    file: open at its beginning and seekable. name: its file name, by which alone a TGA is known: it has no signature.
    """
    start = file.read(64)
    try:
        for mark, place, reader in _READERS:
            if start[place : place + len(mark)] == mark:
                return _sane(reader(file, start))
        if name.lower().endswith((".tga", ".targa")):
            return _sane(_tga(start))
    except (struct.error, ValueError, IndexError, OverflowError):
        return None
    return None


def check_picture(path: Path) -> PictureSize:
    """The size of a picture file. Raises FileProblem when it is not a plain file, no picture, or larger than can be used."""
    length = plain_file(path).st_size
    with path.open("rb") as file:
        return _checked(picture_size(file, path.name), length)


def check_picture_bytes(data: bytes, name: str = "") -> PictureSize:
    """The same for a picture's bytes, such as one that is packed in a scan."""
    return _checked(picture_size(io.BytesIO(data), name), len(data))


def check_room(size: PictureSize) -> None:
    """Raise FileProblem where a picture, unpacked, does not fit into this machine's memory."""
    if words := memory.shortage(0, size.width * size.height):
        raise FileProblem(f"its {words}; save it smaller")


def looked_at(reference: Reference) -> Reference:
    """The reference as it is, or refused, with the reason, where it leads to a picture that no decoder may be given.

    What is not a picture, by its signature and its name (a layer, a library), is left as it is.
    """
    if reference.path is None:
        return reference
    try:
        with reference.path.open("rb") as file:
            found = picture_size(file, reference.path.name)
        if found is not None or reference.path.suffix.lower() in PICTURES:
            check_room(_checked(found, reference.path.stat().st_size))
    except FileProblem as problem:
        return Reference(reference.written, None, str(problem).split(";")[0])
    except OSError:  # it can't be opened, so no decoder opens it either
        return reference
    return reference


def _checked(found: PictureSize | None, length: int) -> PictureSize:
    if found is None:
        raise FileProblem(f"it is not a picture that can be read, or is damaged; save it as {READABLE}")
    pixels = found.width * found.height
    if pixels > MOST_PIXELS or max(found.width, found.height) > MOST_SIDE:
        raise FileProblem(
            f"it is {found.width:,} x {found.height:,} pixels, more than the {MOST_PIXELS // 2**20:,} million that are worked "
            "on; save it at 16384 x 16384 or less"
        )
    if found.format == "PNG" and pixels * found.bytes_a_pixel > _DEFLATE_BEST * length + 65536:
        raise FileProblem(
            f"it announces {found.width:,} x {found.height:,} pixels, which its {length:,} bytes can't hold; save it again"
        )
    return found


def _sane(found: PictureSize | None) -> PictureSize | None:
    return found if found is not None and found.width > 0 and found.height > 0 else None


# --- one reader for each format: (file, its first 64 bytes) to a size ----------------------------------------------------


def _png(file: BinaryIO, start: bytes) -> PictureSize | None:
    """ISO/IEC 15948, 11.2.2: IHDR comes first."""
    if start[12:16] != b"IHDR":
        return None
    width, height, bits, kind = struct.unpack_from(">IIBB", start, 16)
    channels = {0: 1, 2: 3, 3: 1, 4: 2, 6: 4}.get(kind, 0)
    return PictureSize("PNG", width, height, channels * bits / 8)


def _jpeg(file: BinaryIO, start: bytes) -> PictureSize | None:
    """ITU-T T.81, B.2.2: the frame header, found by walking the segments before it."""
    file.seek(2)
    for _ in range(4096):
        byte = file.read(1)
        if byte != b"\xff":
            return None
        while byte == b"\xff":
            byte = file.read(1)
        if not byte or byte in b"\xd9\xda":
            return None
        if 0xD0 <= byte[0] <= 0xD8 or byte == b"\x01":
            continue
        (length,) = struct.unpack(">H", file.read(2))
        if 0xC0 <= byte[0] <= 0xCF and byte not in b"\xc4\xc8\xcc":
            _, height, width, parts = struct.unpack(">BHHB", file.read(6))
            return PictureSize("JPEG", width, height, float(parts))
        file.seek(length - 2, io.SEEK_CUR)
    return None


def _tiff(file: BinaryIO, start: bytes) -> PictureSize | None:
    """TIFF 6.0, section 2 (and BigTIFF's wider fields): the tags of the first directory."""
    order = "<" if start[:2] == b"II" else ">"
    big = struct.unpack_from(order + "H", start, 2)[0] == 43
    (place,) = struct.unpack_from(order + ("Q" if big else "I"), start, 8 if big else 4)
    file.seek(place)
    (count,) = struct.unpack(order + ("Q" if big else "H"), file.read(8 if big else 2))
    entry = 20 if big else 12
    table = file.read(entry * min(count, 4096))
    values = {}
    for at in range(0, len(table) - entry + 1, entry):
        tag, kind = struct.unpack_from(order + "HH", table, at)
        code = {1: "B", 3: "H", 4: "I", 16: "Q"}.get(kind)
        if tag in (256, 257, 277) and code:
            (values[tag],) = struct.unpack_from(order + code, table, at + (12 if big else 8))
    return PictureSize("TIFF", values.get(256, 0), values.get(257, 0), float(values.get(277, 1)))


def _exr(file: BinaryIO, start: bytes) -> PictureSize | None:
    """OpenEXR file layout: attributes (name, type, size, value) until an empty name."""
    file.seek(8)
    head = file.read(1 << 20)
    at, channels, box = 0, 0, None
    while at < len(head) and head[at] != 0:
        name_end = head.index(b"\0", at)
        kind_end = head.index(b"\0", name_end + 1)
        (size,) = struct.unpack_from("<i", head, kind_end + 1)
        if size < 0:
            return None
        value = head[kind_end + 5 : kind_end + 5 + size]
        if head[at:name_end] == b"dataWindow":
            box = struct.unpack("<4i", value)
        elif head[at:name_end] == b"channels":
            channels = _exr_bytes(value)
        at = kind_end + 5 + size
    if box is None:
        return None
    return PictureSize("OpenEXR", box[2] - box[0] + 1, box[3] - box[1] + 1, float(channels))


def _exr_bytes(value: bytes) -> int:
    """Bytes a pixel of all channels: name, type (1: half), three bytes of flags, two sampling rates each."""
    at = total = 0
    while at < len(value) and value[at] != 0:
        at = value.index(b"\0", at) + 1
        total += 2 if struct.unpack_from("<i", value, at)[0] == 1 else 4
        at += 16
    return total


def _bmp(file: BinaryIO, start: bytes) -> PictureSize | None:
    """Windows' BITMAPINFOHEADER and the older BITMAPCOREHEADER; a negative height means top to bottom."""
    if struct.unpack_from("<I", start, 14)[0] == 12:
        width, height, _, bits = struct.unpack_from("<HHHH", start, 18)
    else:
        width, height, _, bits = struct.unpack_from("<iiHH", start, 18)
    return PictureSize("BMP", width, abs(height), bits / 8)


def _webp(file: BinaryIO, start: bytes) -> PictureSize | None:
    """RFC 9649: a VP8, VP8L or VP8X chunk comes first."""
    kind = start[12:16]
    if start[8:12] != b"WEBP" or len(start) < 30:
        return None
    if kind == b"VP8X":
        return PictureSize("WebP", int.from_bytes(start[24:27], "little") + 1, int.from_bytes(start[27:30], "little") + 1, 4.0)
    if kind == b"VP8L":
        bits = struct.unpack_from("<I", start, 21)[0]
        return PictureSize("WebP", (bits & 0x3FFF) + 1, (bits >> 14 & 0x3FFF) + 1, 4.0)
    width, height = struct.unpack_from("<HH", start, 26)
    return PictureSize("WebP", width & 0x3FFF, height & 0x3FFF, 3.0) if kind == b"VP8 " else None


def _jp2(file: BinaryIO, start: bytes) -> PictureSize | None:
    """ISO/IEC 15444-1: the codestream's SIZ marker, behind the boxes where there are any."""
    file.seek(0)
    head = file.read(1 << 16)
    at = head.index(b"\xff\x4f\xff\x51")
    right, bottom, left, top = struct.unpack_from(">IIII", head, at + 8)
    (parts,) = struct.unpack_from(">H", head, at + 40)
    return PictureSize("JPEG 2000", right - left, bottom - top, float(parts))


def _radiance(file: BinaryIO, start: bytes) -> PictureSize | None:
    """Radiance RGBE (G. Ward, *Graphics Gems II*, II.5): the resolution stands in a line behind an empty one."""
    file.seek(0)
    found = re.search(rb"\n\n[-+]([XY]) (\d{1,9}) [-+][XY] (\d{1,9})\n", file.read(1 << 16))
    if not found:
        return None
    first, second = int(found[2]), int(found[3])
    return PictureSize("Radiance", *((second, first) if found[1] == b"Y" else (first, second)), 4.0)


def _tga(start: bytes) -> PictureSize | None:
    """Truevision TGA 2.0: it has no signature, so the image type and the depth must be valid ones."""
    kind, width, height, bits = start[2], *struct.unpack_from("<HHB", start, 12)
    return PictureSize("TGA", width, height, bits / 8) if kind in (1, 2, 3, 9, 10, 11) and bits in (8, 15, 16, 24, 32) else None


def _fixed(name: str, code: str, place: int, *, rows_first: bool = False) -> Callable[[BinaryIO, bytes], PictureSize | None]:
    """A reader of a format whose width and height stand at one place."""

    def read(file: BinaryIO, start: bytes) -> PictureSize | None:
        file.seek(place)
        first, second = struct.unpack(code, file.read(struct.calcsize(code)))
        return PictureSize(name, *((second, first) if rows_first else (first, second)))

    return read


_READERS: tuple[tuple[bytes, int, Callable[[BinaryIO, bytes], PictureSize | None]], ...] = (
    (b"\x89PNG\r\n\x1a\n", 0, _png),
    (b"\xff\xd8\xff", 0, _jpeg),
    (b"II\x2a\0", 0, _tiff), (b"MM\0\x2a", 0, _tiff), (b"II\x2b\0", 0, _tiff), (b"MM\0\x2b", 0, _tiff),
    (b"\x76\x2f\x31\x01", 0, _exr),
    (b"BM", 0, _bmp),
    (b"RIFF", 0, _webp),
    (b"\0\0\0\x0cjP  ", 0, _jp2), (b"\xff\x4f\xff\x51", 0, _jp2),
    (b"#?", 0, _radiance),
    (b"8BPS", 0, _fixed("Photoshop", ">II", 14, rows_first=True)),
    (b"DDS ", 0, _fixed("DDS", "<II", 12, rows_first=True)),
    (b"\x01\xda", 0, _fixed("SGI", ">HH", 6)),
    (b"SDPX", 0, _fixed("DPX", ">II", 772)), (b"XPDS", 0, _fixed("DPX", "<II", 772)),
    (b"\x80\x2a\x5f\xd7", 0, _fixed("Cineon", ">II", 200)), (b"\xd7\x5f\x2a\x80", 0, _fixed("Cineon", "<II", 200)),
)  # fmt: skip
"""Mark, its place in the file and the reader of each format."""
