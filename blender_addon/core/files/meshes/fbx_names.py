"""Which files does an FBX name? Found in its bytes, so that names which must not be followed can be struck out of a copy.

FBX has no public specification; how a name is stored (a node's name, the letter S, a length of four bytes, the text; in text
files in quotes) was read off files that Blender's own exporter writes.
"""

from __future__ import annotations

import mmap
import re
import shutil
import struct
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path, PureWindowsPath

from ..references import Reference, follow

_BINARY = re.compile(rb"(?:RelativeFilename|File[Nn]ame|XRefUrlS\0\0\0\0)S([\s\S]{4})")
_TEXT = re.compile(rb"(?:(?:RelativeFilename|File[Nn]ame)\s*:\s*|\"XRefUrl\"\s*,\s*\"[^\"\n]*\"\s*,\s*)\"([^\"\n]{1,4096})\"")
_MOST_NAMES = 10_000


@dataclass(frozen=True)
class StoredName:
    """A file name in an FBX: the text, and the bytes from `start` to `end` that hold it."""

    text: str
    start: int
    end: int


def stored_names(path: Path) -> list[StoredName]:
    """The file names in an FBX, binary or text."""
    found: list[StoredName] = []
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as data:
        if data[:18] == b"Kaydara FBX Binary":
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
            reference = follow(written, path.parent, allowed=allowed)
            if reference.refused:
                found[name] = reference
                break
    return found


def is_struck_out(name: str) -> bool:
    """Whether a name is what `write_without` left of one."""
    return bool(name) and not name.strip("_")


def write_without(path: Path, target: Path, names: Collection[StoredName]) -> None:
    """A copy of the file in which these names are struck out, letter for letter, so that all else stays where it was."""
    shutil.copyfile(path, target)
    with target.open("r+b") as file:
        for name in names:
            file.seek(name.start)
            file.write(b"_" * (name.end - name.start))
