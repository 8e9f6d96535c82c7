"""A mesh file's text in blocks of whole lines, and the lines in it that hold a value that is not a number."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

from .ply import FileProblem

BLOCK = 1 << 20  # what stays in a processor's cache is read and searched four times faster than blocks of 16 MB
LONGEST_LINE = 1 << 26
"""Bytes of a line at most; no mesh as text comes near, a binary file without line ends exceeds it."""
_SUSPECT = re.compile(rb"(?i)nan|inf|1\.#")
NO_NUMBER = re.compile(rb"(?i)(?<![\w.])[+-]?(?:nan|inf|1\.#)[\w()#.]*")
"""A value that is not a number, as programs write it."""


def blocks(path: Path) -> Iterator[bytes]:
    """The file in blocks of whole lines, so that nothing is larger in memory than a block."""
    rest = b""
    with path.open("rb") as file:
        while block := file.read(BLOCK):
            block = rest + block
            cut = block.rfind(b"\n") + 1
            if not cut:
                rest = block
                if len(rest) > LONGEST_LINE:
                    raise FileProblem(
                        f"it has a line of more than {LONGEST_LINE >> 20} MB, so it is not a mesh as text; export it again"
                    )
                continue
            rest = block[cut:]
            yield block[:cut]
    if rest:
        yield rest


def bad_lines(block: bytes, *, is_obj: bool) -> Iterator[tuple[int, int, bool]]:
    """The lines of a block that hold a value that is not a number: start, end, whether the line is a vertex.

    In an OBJ only lines of coordinates (v, vt, vn) count, since names may hold such letters; in a PLY's body all do.
    """
    if not any(letter in block for letter in (b"a", b"A", b"i", b"I", b"#")):
        return  # searching a single byte is many times faster, and plain numbers hold none of these
    low = block.lower()
    if not any(word in low for word in (b"nan", b"inf", b"1.#")):
        return
    done = -1
    for match in _SUSPECT.finditer(block):
        if match.start() < done:
            continue
        start = block.rfind(b"\n", 0, match.start()) + 1
        end = block.find(b"\n", match.end())
        done = end = len(block) if end < 0 else end
        line = block[start:end]
        kind = line.split(None, 1)[0].lower() if is_obj else b"v"
        if kind in (b"v", b"vt", b"vn") and NO_NUMBER.search(line):
            yield start, end, kind == b"v"


def is_utf8(block: bytes) -> bool:
    """Whether whole lines of text are UTF-8."""
    if block.isascii():
        return True
    try:
        block.decode("utf-8")
    except UnicodeDecodeError:
        return False
    return True
