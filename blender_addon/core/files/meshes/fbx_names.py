"""Which files does an FBX name? Found in its bytes, so that names that must not be followed can be blanked in a copy.

FBX has no public specification; how a name is stored (a node's name, the letter S, a length of four bytes, the text; in text
files in quotes) was learnt from files that Blender's own exporter writes.
"""

from __future__ import annotations

import base64
import mmap
import re
import shutil
import struct
from collections.abc import Collection, Sequence
from pathlib import Path, PureWindowsPath

from ...records import record
from ..pictures.picture_headers import check_picture_bytes, check_room, looked_at
from ..references import Reference, follow
from .ply import FileProblem

_BINARY = re.compile(rb"(?:RelativeFilename|File[Nn]ame|XRefUrlS\0\0\0\0)S([\s\S]{4})")
_TEXT = re.compile(rb"(?:(?:RelativeFilename|File[Nn]ame)\s*:\s*|\"XRefUrl\"\s*,\s*\"[^\"\n]*\"\s*,\s*)\"([^\"\n]{1,4096})\"")
_PACKED = re.compile(rb"\x07ContentR([\s\S]{4})")
_PACKED_TEXT = re.compile(rb"Content\s*:[\s,]*\"([A-Za-z0-9+/=\s]{16,})")
_MARK = b"Kaydara FBX Binary"
_MOST_NAMES = 10_000
"""Names that are followed at most: more are no scan's."""


@record
class StoredName:
    """A file name in an FBX: the text, and the bytes from `start` to `end` that hold it; or, under its name, the bytes of a
    picture that is packed in the FBX.

    blank: the byte that is written over it when it is struck out.
    """

    text: str
    start: int
    end: int
    blank: bytes = b"_"


def stored_names(path: Path) -> list[StoredName]:
    """The file names in an FBX, binary or text."""
    found: list[StoredName] = []
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        if data[: len(_MARK)] == _MARK:
            for match in _BINARY.finditer(data):
                start = match.end()
                end = start + struct.unpack("<I", match[1])[0]
                if start < end <= min(len(data), start + 4096):
                    found.append(StoredName(data[start:end].decode("utf-8", "surrogateescape"), start, end))
        else:
            for match in _TEXT.finditer(data):
                found.append(StoredName(match[1].decode("utf-8", "surrogateescape"), match.start(1), match.end(1)))
    return found[:_MOST_NAMES]


def not_to_follow(path: Path, names: Sequence[StoredName], allowed: Collection[Path]) -> dict[StoredName, Reference]:
    """The names that lead an importer to something it must not read: as written, or by the bare name beside the scan."""
    found = {}
    for name in names:
        bare = PureWindowsPath(name.text.replace("\0", "")).name
        for written in (name.text, bare):
            reference = looked_at(follow(written, path.parent, allowed=allowed))
            if reference.refused:
                found[name] = reference
                break
    return found


def packed_not_to_decode(path: Path, names: Sequence[StoredName]) -> dict[StoredName, Reference]:
    """The pictures packed in an FBX (base 64 in text files) that no decoder may be given, judged by their headers."""
    found = {}
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        binary = data[: len(_MARK)] == _MARK
        for match in (_PACKED if binary else _PACKED_TEXT).finditer(data):
            if binary:
                start, end = match.end(), match.end() + struct.unpack("<I", match[1])[0]
            else:
                start, end = match.span(1)
            if not start < end <= len(data):
                continue
            before = [name.text for name in names if name.end < start]
            shown = PureWindowsPath(before[-1].replace("\0", "")).name if before else "packed picture"
            try:
                picture = data[start:end] if binary else base64.b64decode(b"".join(match[1].split()) + b"==")
                check_room(check_picture_bytes(picture, shown))
            except (FileProblem, ValueError) as problem:
                packed = StoredName(shown, start, end, b"_" if binary else b"A")
                found[packed] = Reference(shown, None, str(problem).split(";")[0])
    return found


def is_struck_out(name: str | bytes) -> bool:
    """Whether a name, or a picture's bytes, is what `write_without` left of one."""
    if isinstance(name, bytes):
        return bool(name) and (not name.strip(b"_") or not name.strip(b"\0"))
    return bool(name) and not name.strip("_")


def write_without(path: Path, target: Path, names: Collection[StoredName]) -> None:
    """A copy of the file in which these names are struck out, letter for letter, so that all else stays where it was."""
    shutil.copyfile(path, target)
    with target.open("r+b") as file:
        for name in names:
            file.seek(name.start)
            file.write(name.blank * (name.end - name.start))
