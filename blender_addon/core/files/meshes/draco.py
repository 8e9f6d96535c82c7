"""How large is a Draco-packed mesh, by its header alone? Read first, so that no decoder allocates what a header only claims.

Draco bitstream specification 2.2 (Google), chapters "Draco header" and "Connectivity decoder".
"""

from __future__ import annotations

from .gltf import AGAIN
from .ply import FileProblem

_METADATA = 0x8000
"""Bit of the header's flags: metadata follow (Draco bitstream specification)."""


def check_draco(data: bytes, triangles: int | None, words: str) -> None:
    """Raise FileProblem where the bytes are no Draco mesh, or announce more triangles than `triangles`, the number in the
    file that holds them (None where it is not given). Fewer are usual: the encoder leaves out those without area.

    words: the place in the file, for the message.
    """
    damaged = f"its packed mesh is damaged ({words}); {AGAIN}"
    if data[:5] != b"DRACO" or len(data) < 12 or data[7] != 1:
        raise FileProblem(damaged)
    major, minor, method, flags = data[5], data[6], data[8], int.from_bytes(data[9:11], "little")
    if (major, minor) != (2, 2):
        return  # older streams lay their counts out differently; the decoder decides
    if flags & _METADATA:
        return  # metadata stands before the counts and would have to be parsed
    try:
        place = 11
        if method == 1:  # edgebreaker: the kind of traversal, then the number of vertices, come first
            _, place = _varint(data, place + 1)
        faces, place = _varint(data, place)
    except IndexError:
        raise FileProblem(damaged) from None
    if triangles is not None and faces > triangles:
        raise FileProblem(damaged)


def _varint(data: bytes, place: int) -> tuple[int, int]:
    """A variable-length integer (seven bits a byte, least significant first) and the offset behind it."""
    value = shift = 0
    while True:
        byte = data[place]
        value |= (byte & 0x7F) << shift
        place, shift = place + 1, shift + 7
        if not byte & 0x80:
            return value, place
        if shift > 63:
            raise IndexError("a number without end")
