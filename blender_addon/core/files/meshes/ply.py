"""What does a PLY's header say? Its elements, their counts and properties, and where the data begins."""

from __future__ import annotations

import re
from dataclasses import dataclass, field


class FileProblem(ValueError):
    """A file can't be used: the message says what is wrong and what to do about it."""


PLY_BYTES = {
    "char": 1, "uchar": 1, "int8": 1, "uint8": 1, "short": 2, "ushort": 2, "int16": 2, "uint16": 2, "int": 4, "uint": 4,
    "int32": 4, "uint32": 4, "float": 4, "float32": 4, "double": 8, "float64": 8,
}  # fmt: skip
"""Bytes of each type of a property, by both of its names."""


@dataclass
class PlyHeader:
    """A PLY's header: format, (name, count, properties) an element, length in bytes. A property is (type, name), with
    (count type, item type, name) for a list."""

    format: str = ""
    elements: list[tuple[str, int, list[tuple[str, ...]]]] = field(default_factory=list)
    length: int = 0

    def count(self, name: str) -> int:
        """How many of an element there are."""
        return sum(count for element, count, _ in self.elements if element == name)


def ply_header(start: bytes) -> PlyHeader:
    """Read a PLY header (Turk, *The PLY Polygon File Format*, 1994). Raises FileProblem."""
    if not start.startswith(b"ply"):
        raise FileProblem("it does not begin as a PLY does; export the scan again")
    end = re.search(rb"end_header[^\n]*\n", start)
    if not end:
        raise FileProblem("its header has no end; the file is cut short or is not a PLY: export the scan again")
    header = PlyHeader(length=end.end())
    try:
        for line in start[: end.start()].decode("latin-1").splitlines():
            parts = line.split()
            if not parts:
                continue
            if parts[0] == "format":
                header.format = parts[1]
            elif parts[0] == "element":
                header.elements.append((parts[1], int(parts[2]), []))
            elif parts[0] == "property":
                header.elements[-1][2].append(tuple(parts[2:]) if parts[1] == "list" else tuple(parts[1:]))
    except (IndexError, ValueError):
        raise FileProblem("its header can't be understood; export the scan again") from None
    return header
