"""What is in a PNG file besides pixels? Chunks, as ISO/IEC 15948 lays them out: length, type, data, checksum."""

from __future__ import annotations

import struct

from .labels import Labels
from .png_writer import label_chunks

SIGNATURE = b"\x89PNG\r\n\x1a\n"
_WORDS = {b"tEXt", b"zTXt", b"iTXt", b"tIME", b"eXIf", b"oFFs"}
_COLOURS = {b"sRGB", b"gAMA", b"cHRM", b"iCCP", b"cICP", b"pHYs"}


def without_words(data: bytes) -> bytes:
    """The file without its text and time chunks, so that equal pictures are equal files.

    Cycles writes its render time into each picture, whatever the stamp settings say. Raises ValueError for what is no PNG.
    """
    if not data.startswith(SIGNATURE):
        raise ValueError("not a PNG file")
    kept = [SIGNATURE]
    place = len(SIGNATURE)
    while place + 12 <= len(data):
        (length,) = struct.unpack_from(">I", data, place)
        if data[place + 4 : place + 8] not in _WORDS:
            kept.append(data[place : place + 12 + length])
        place += 12 + length
    return b"".join(kept)


def labelled(data: bytes, labels: Labels) -> bytes:
    """The file without text, time and colour chunks of its own, with these labels in their place.

    Raises ValueError for what is no PNG.
    """
    bare = without_words(data)
    place = len(SIGNATURE) + 25  # the header is always the first chunk and 25 bytes long
    kept = [bare[:place], label_chunks(labels)]
    while place + 12 <= len(bare):
        (length,) = struct.unpack_from(">I", bare, place)
        if bare[place + 4 : place + 8] not in _COLOURS:
            kept.append(bare[place : place + 12 + length])
        place += 12 + length
    return b"".join(kept)
