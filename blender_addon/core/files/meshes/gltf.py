"""How is a glTF file read? Its JSON and where its binary data lie, with a limit on everything that is taken into memory.

glTF 2.0 specification (Khronos, ISO/IEC 12113), sections 3.6 (buffers) and 4.4 (GLB).
"""

from __future__ import annotations

import base64
import binascii
import json
import struct
from collections.abc import Collection
from dataclasses import field, replace
from pathlib import Path
from typing import Any, NoReturn
from urllib.parse import unquote

import numpy as np

from ...arrays import Pixels8
from ...records import record
from ..references import Reference, follow
from .ply import FileProblem

MOST_JSON = 1 << 28
"""Most bytes of the JSON description, embedded pictures included. Larger ones belong in a GLB's data chunk."""
MOST_EMBEDDED = 1 << 28
"""Most bytes that one `data:` address may unpack to."""
AGAIN = "copy or export the scan again"
DRACO = "KHR_draco_mesh_compression"
MESHOPT = ("EXT_meshopt_compression", "KHR_meshopt_compression")
_LISTS = (
    "accessors", "animations", "buffers", "bufferViews", "cameras", "images", "materials", "meshes", "nodes", "samplers",
    "scenes", "skins", "textures",
)  # fmt: skip


@record
class Gltf:
    """A glTF file: its description, and where a GLB's own data chunk lies (start and length in bytes; 0 without one)."""

    path: Path
    content: dict[str, Any]
    start: int = 0
    length: int = 0
    allowed: frozenset[Path] = field(default_factory=frozenset)
    repaired: Path | None = None
    """A copy of the file with the same layout, whose data chunk is read instead."""
    _bytes: dict[int, Pixels8] = field(default_factory=dict, repr=False, compare=False)

    def __post_init__(self) -> None:
        for name in _LISTS:
            rows = self.content.get(name, [])
            if not isinstance(rows, list) or not all(isinstance(row, dict) for row in rows):
                raise FileProblem(f'its description is damaged ("{name}" is not a list of tables); {AGAIN}')

    def rows(self, name: str) -> list[dict[str, Any]]:
        """One of the description's lists; empty where there is none."""
        return self.content.get(name, [])

    def follow(self, uri: str) -> Reference:
        """The file that an address names, as the format unescapes it."""
        return follow(unquote(uri), self.path.parent, allowed=self.allowed)

    def buffer(self, number: int) -> Pixels8:
        """(n,) uint8 bytes of a buffer: mapped from a file, or decoded from a `data:` address; n is 0 where there are none."""
        if number not in self._bytes:
            self._bytes[number] = self._opened(number)
        return self._bytes[number]

    def as_importers_want(self, kind: str) -> bool:
        """Whether strict importers accept the container: a .gltf without a byte-order mark, a GLB without trailing bytes."""
        with self.path.open("rb") as file:
            start = file.read(12)
        if start[:4] != b"glTF":
            return kind == ".gltf" and not start.startswith(b"\xef\xbb\xbf")
        return kind == ".glb" and struct.unpack_from("<I", start, 8)[0] == self.path.stat().st_size

    @property
    def chunk(self) -> Path:
        """The file that the data chunk is read from."""
        return self.repaired or self.path

    def with_chunk_of(self, path: Path) -> Gltf:
        """The same description, its data chunk in a repaired copy of the file."""
        return replace(self, repaired=path, _bytes={})

    def _opened(self, number: int) -> Pixels8:
        uri = self.rows("buffers")[number].get("uri")
        if uri is None:
            if number or not self.length:
                return np.zeros(0, np.uint8)
            return np.memmap(self.chunk, np.uint8, "r", self.start, (self.length,))
        if is_embedded(uri):
            return np.frombuffer(embedded(uri), np.uint8)
        file = self.follow(uri).path
        return np.zeros(0, np.uint8) if file is None else np.memmap(file, np.uint8, "r")


def view_bytes(gltf: Gltf, view: dict[str, Any]) -> Pixels8:
    """(n,) uint8 bytes of a checked buffer view."""
    start = view.get("byteOffset", 0)
    return gltf.buffer(view["buffer"])[start : start + view["byteLength"]]


def read_gltf(path: Path, allowed: Collection[Path] = ()) -> Gltf:
    """Read a .glb or .gltf, by its first bytes. Raises FileProblem."""
    with path.open("rb") as file:
        if file.read(4) == b"glTF":
            return _read_glb(path, frozenset(allowed))
        file.seek(0)
        text = file.read(MOST_JSON + 1)
    return Gltf(path, parse_json(text), allowed=frozenset(allowed))


def _read_glb(path: Path, allowed: frozenset[Path]) -> Gltf:
    size = path.stat().st_size
    with path.open("rb") as file:
        start = file.read(20)
        if len(start) < 20:
            raise FileProblem(f"it is cut short; {AGAIN}")
        version, length, json_length, json_kind = struct.unpack_from("<IIII", start, 4)
        if version != 2:
            raise FileProblem(f"it is glTF {version}, only 2 can be read; export the scan again")
        if length > size:
            raise FileProblem(f"it is cut short ({size} of {length} bytes); {AGAIN}")
        if json_kind != 0x4E4F534A or json_length > size - 20:
            raise FileProblem(f"its chunks are damaged; {AGAIN}")
        if json_length > MOST_JSON:
            raise FileProblem(_too_long(json_length))
        text = file.read(json_length)
        second = file.read(8)
    binary = 0
    if len(second) == 8 and second[4:] == b"BIN\0":
        binary = struct.unpack_from("<I", second)[0]
        if 20 + json_length + 8 + binary > size:
            raise FileProblem(f"its data chunk is cut short; {AGAIN}")
    return Gltf(path, parse_json(text), 28 + json_length if binary else 0, binary, allowed)


def parse_json(text: bytes) -> dict[str, Any]:
    """The description of a glTF file. Raises FileProblem for what is not a JSON table, too long or nested too deep."""
    if len(text) > MOST_JSON:
        raise FileProblem(_too_long(len(text)))
    try:
        content = json.loads(text.decode("utf-8-sig"), parse_constant=_no_number)
    except RecursionError:
        raise FileProblem("its description is nested too deep to be a scan; export the scan again") from None
    except (ValueError, MemoryError):
        raise FileProblem(f"its description is damaged (no valid JSON); {AGAIN}") from None
    if not isinstance(content, dict):
        raise FileProblem(f"its description is damaged (no table); {AGAIN}")
    return content


def _no_number(word: str) -> NoReturn:
    raise ValueError(f"{word} is not a number")


def _too_long(length: int) -> str:
    return (
        f"its description has {length / 2**20:.0f} MB, more than the {MOST_JSON / 2**20:.0f} MB that are read; "
        "export the scan as GLB, so that its data lie in a chunk of their own"
    )


def is_embedded(uri: str) -> bool:
    """Whether an address holds the data itself (RFC 2397)."""
    return uri[:5].lower() == "data:"


def embedded(uri: str) -> bytes:
    """The bytes in a `data:` address. Raises FileProblem when they are not base64 or more than MOST_EMBEDDED."""
    head, _, written = uri.partition(",")
    if not head.endswith(";base64"):
        raise FileProblem(f"data written into its description is not base64; {AGAIN}")
    if len(written) * 3 // 4 > MOST_EMBEDDED:
        raise FileProblem(
            f"data of {len(written) * 3 / 4 / 2**20:.0f} MB are written into its description, more than the "
            f"{MOST_EMBEDDED / 2**20:.0f} MB that are read; export the scan as GLB"
        )
    try:
        return base64.b64decode(written, validate=True)
    except (binascii.Error, ValueError):
        raise FileProblem(f"data written into its description are damaged; {AGAIN}") from None
