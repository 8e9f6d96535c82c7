"""Which other files may a scan bring in? Those of its own folder tree, links followed, and those that the job sheet names.

A scan comes from someone else: a file outside its folder, named by an absolute path, through `..` or behind a link, is not read
even where the operating system would allow it. Names are only looked up; nothing is opened here.
"""

from __future__ import annotations

import os
import posixpath
import re
import unicodedata
from collections.abc import Collection, Sequence
from pathlib import Path, PureWindowsPath

from ..records import record
from .meshes.ply import FileProblem
from .plain_files import lies_within, plain_file

OUTSIDE = "it lies outside the scan's own folder"
MOST_LETTERS = 1024
"""Longest name, in letters, that is looked up; anything longer is not a file name."""


@record
class Reference:
    """A file that a scan names: as written, where it lies (None: not to be read), and why it is refused ('' where it is
    merely missing)."""

    written: str
    path: Path | None = None
    refused: str = ""

    @property
    def shown(self) -> str:
        """The bare name, for messages."""
        return PureWindowsPath(self.written[-200:].replace("\0", "")).name or self.written[:80]


def follow(written: str, folder: Path, *, root: Path | None = None, allowed: Collection[Path] = ()) -> Reference:
    """What a name in a scan's file stands for.

    folder: what relative names start from. root: the tree that must not be left; `folder` by default. allowed: files outside
    that the job sheet itself names, resolved. written: the name as it stands in the file.
    """
    if not written or "\0" in written or len(written) > MOST_LETTERS or _names_a_server(written):
        return Reference(written)
    try:
        file = (folder / posixpath.normpath(written.replace("\\", "/"))).resolve()
        there = file.exists()
    except (OSError, RuntimeError, ValueError):
        return Reference(written)
    if file not in allowed and not lies_within(file, root or folder):
        return Reference(written, None, OUTSIDE if there else "")
    if not there:
        return Reference(written)
    try:
        plain_file(file)
    except FileProblem as problem:
        return Reference(written, None, str(problem).split(";")[0])
    return Reference(written, file)


def find_beside(written: str, scan: Path, folders: Sequence[Path], *, allowed: Collection[Path] = ()) -> Reference:
    """The file that a scan names: as written, else by its bare name in one of `folders`, since paths may be another computer's.

    The case of letters and the Unicode form of accents may differ. A name that leads outside is refused only when no such file
    lies in the folders.
    """
    first = follow(written, scan.parent, allowed=allowed)
    if first.path is not None:
        return first
    bare = PureWindowsPath(written.replace("\0", "")).name
    refused = first
    for folder in folders if bare else ():
        for name in (bare, _alike(bare, folder)):
            found = follow(name, folder, root=scan.parent, allowed=allowed) if name else first
            if found.path is not None:
                return Reference(written, found.path)
            refused = found if found.refused else refused
    return Reference(written, None, first.refused or refused.refused)


def _alike(name: str, folder: Path) -> str:
    """The name in a folder that is the same but for case, the Unicode form of accents, or bytes that are not UTF-8; else ''."""
    wanted = _plainly(name)
    try:
        names = sorted(entry.name for entry in os.scandir(folder))
    except (OSError, ValueError):
        return ""
    return next((each for each in names if _plainly(each) == wanted), "")


def _plainly(name: str) -> str:
    raw = name.encode("utf-8", "surrogateescape")
    try:
        text = raw.decode("utf-8")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    return unicodedata.normalize("NFC", text).casefold()


def _names_a_server(written: str) -> bool:
    """Whether merely looking a name up could reach for another computer, or for a drive that this system does not have."""
    start = written.replace("\\", "/")
    return start.startswith("//") or "://" in start[:16] or (os.name != "nt" and bool(re.match(r"[A-Za-z]:", start)))
