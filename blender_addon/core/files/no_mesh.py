"""Is it something else under a mesh's name? A page that asks to sign in, an archive, a picture, a pointer to the file."""

from __future__ import annotations

import re
from pathlib import Path

from .meshes.ply import FileProblem

_NO_MESHES = (
    (
        rb"(?i)\s*<(?:!doctype html|html|head)",
        "it holds a web page instead of a mesh, as when a download needs you to sign in; download it again",
    ),
    (rb"version https://git-lfs\.github\.com/", "it is only a pointer to the mesh (Git LFS); fetch the file itself"),
    (rb"PK\x03\x04|\x1f\x8b|Rar!|7z\xbc\xaf", "it is a packed archive; unpack it and give the mesh file inside"),
    (rb"\x89PNG|\xff\xd8\xff|%PDF-", "it is a picture or a document under a mesh's name; give the mesh"),
)
"""How files begin that are often taken for the mesh, and what to do."""


def refuse_no_mesh(path: Path, kind: str) -> None:
    """Raise FileProblem where a file's first bytes are those of something else that often has a mesh's name."""
    with path.open("rb") as file:
        start = file.read(256)
    for mark, words in _NO_MESHES:
        if re.match(mark, start) and not (start.startswith(b"PK") and kind in (".usdz", ".usd")):
            raise FileProblem(words)
