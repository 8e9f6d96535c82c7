"""Which files does a USD file name? Asset paths in its text, or among the tokens of its binary form, layer after layer.

Universal Scene Description (OpenUSD): asset paths stand between @ in text; the binary "crate" form keeps all its strings in one
table of tokens, packed as LZ4 blocks (lz4.org, block format); a .usdz is a zip of such files that are stored unpacked.
"""

from __future__ import annotations

import os
import re
import struct
import zipfile
from collections.abc import Collection, Iterator
from pathlib import Path

from ..pictures.picture_headers import looked_at
from ..references import Reference, follow
from .ply import FileProblem

MOST_TOKENS = 1 << 26
"""Most bytes of the token table; a scan's has a few thousand."""
MOST_LAYERS = 200
"""Files that a USD may bring in: more are no scan's."""
_ASSET = re.compile(rb"@@@([^\n]{1,1024}?)@@@|@([^@\n]{1,1024})@")
_LAYERS = (".usd", ".usda", ".usdc", ".usdz")


def refused_assets(path: Path, allowed: Collection[Path] = ()) -> list[Reference]:
    """The files named by this file, or by a layer in its own folder, that must not be read. Raises FileProblem."""
    waiting, seen, found = [path.resolve()], set(), {}
    while waiting:
        layer = waiting.pop()
        if layer in seen:
            continue
        seen.add(layer)
        if len(seen) > MOST_LAYERS:
            raise FileProblem(f"it brings in more than {MOST_LAYERS} other files; export the scan as one file")
        names = (tile for name in asset_names(layer) if re.search(r"[./\\]", name) for tile in _tiles(name, layer.parent))
        for name in dict.fromkeys(names):
            for folder in (layer.parent, Path.cwd()):  # a name without ./ is also looked for where the program was started
                reference = looked_at(follow(name, folder, root=path.parent, allowed=allowed))
                if reference.refused and reference.path is None and not _is_folder(folder, name):
                    found[name] = reference
                elif reference.path is not None and reference.path.suffix.lower() in _LAYERS:
                    waiting.append(reference.path)
    return list(found.values())


def _tiles(name: str, folder: Path) -> list[str]:
    """The name itself; of a picture in numbered tiles (UDIM: four digits from 1001) those that are there."""
    before, mark, after = name.partition("<UDIM>")
    if not mark:
        return [name]
    place, _, stem = before.replace("\\", "/").rpartition("/")
    try:
        files = sorted(os.listdir(folder / place))
    except (OSError, ValueError):
        return [name]
    numbered = re.compile(re.escape(stem) + r"\d{4}" + re.escape(after))
    return [name, *(f"{place}/{file}" if place else file for file in files if numbered.fullmatch(file))]


def asset_names(path: Path) -> Iterator[str]:
    """Every text in a USD file that may be the name of another one. Raises FileProblem where its tables are damaged."""
    with path.open("rb") as file:
        start = file.read(8)
    if start.startswith(b"PK\x03\x04"):
        try:
            with zipfile.ZipFile(path) as pack:
                for entry in pack.infolist():
                    if entry.filename.lower().endswith(_LAYERS) and entry.compress_type == zipfile.ZIP_STORED:
                        yield from _names_in(pack.read(entry))
        except (zipfile.BadZipFile, NotImplementedError, EOFError, OSError, ValueError, RuntimeError):
            raise FileProblem("its package is damaged; copy or export the scan again") from None
    else:
        yield from _names_in(path.read_bytes())


def _names_in(data: bytes) -> Iterator[str]:
    if data.startswith(b"PXR-USDC"):
        try:
            yield from _tokens(data)
        except (struct.error, IndexError, ValueError):
            raise FileProblem("its tables are damaged; copy or export the scan again") from None
        return
    for match in _ASSET.finditer(data):
        yield (match[1] or match[2]).decode("utf-8", "surrogateescape")


def _tokens(data: bytes) -> Iterator[str]:
    """The tokens of a crate file: its table of contents, then the section TOKENS."""
    version, (contents,) = tuple(data[8:11]), struct.unpack_from("<q", data, 16)
    (sections,) = struct.unpack_from("<Q", data, contents)
    for number in range(min(sections, 64)):
        name, start, size = struct.unpack_from("<16sqq", data, contents + 8 + 32 * number)
        if name.rstrip(b"\0") == b"TOKENS":
            table = data[start : start + size]
            text = _unpacked(table) if version >= (0, 4, 0) else table[16:]
            for token in text.split(b"\0"):
                if 0 < len(token) <= 1024:
                    yield token.decode("utf-8", "surrogateescape")


def _unpacked(table: bytes) -> bytes:
    _, length, packed = struct.unpack_from("<QQQ", table)
    if length > MOST_TOKENS or packed > len(table) - 24:
        raise ValueError("the table announces more than it holds")
    blocks = table[24 : 24 + packed]
    if not blocks[0]:
        return lz4_block(blocks[1:], length)
    text, place = b"", 1
    for _ in range(blocks[0]):
        (size,) = struct.unpack_from("<i", blocks, place)
        text += lz4_block(blocks[place + 4 : place + 4 + size], length)
        place += 4 + size
    return text


def lz4_block(data: bytes, most: int) -> bytes:
    """Unpack one LZ4 block of at most `most` bytes. Raises ValueError or IndexError where it is damaged."""
    out, place = bytearray(), 0
    while place < len(data):
        token = data[place]
        count, place = _length(data, place + 1, token >> 4)
        out += data[place : place + count]
        place += count
        if place >= len(data):
            break
        back = data[place] | data[place + 1] << 8
        count, place = _length(data, place + 2, token & 15)
        count += 4
        if not 0 < back <= len(out) or len(out) + count > most:
            raise ValueError("a damaged block")
        piece = out[-back:] if back >= count else out[-back:] * (count // back + 1)
        out += piece[:count]
    return bytes(out)


def _length(data: bytes, place: int, value: int) -> tuple[int, int]:
    """A length whose first four bits were 15 and that continues in bytes while these are 255; and the offset behind it."""
    if value == 15:
        while True:
            byte = data[place]
            value, place = value + byte, place + 1
            if byte != 255:
                break
    return value, place


def _is_folder(folder: Path, name: str) -> bool:
    try:
        return (folder / name).is_dir()
    except (OSError, ValueError):
        return True
