"""Is a path a plain file that may be read? Judged by its file status alone, before anything is opened.

Opening a named pipe waits for a writer that never comes, and reading a device may never end: neither is ever opened.
"""

from __future__ import annotations

import os
import stat
from pathlib import Path

from .meshes.ply import FileProblem

LONGEST_PATH = 4096
"""Letters of a path: Linux's PATH_MAX, which is longer than what other systems take."""

_KINDS = (
    (stat.S_ISFIFO, "a named pipe"),
    (stat.S_ISSOCK, "a socket"),
    (stat.S_ISCHR, "a device"),
    (stat.S_ISBLK, "a device"),
)


def plain_file(path: Path) -> os.stat_result:
    """The status of a plain file, links followed. Raises FileProblem for everything else, in words that say what to do."""
    found = status(path)
    if stat.S_ISREG(found.st_mode):
        return found
    if stat.S_ISDIR(found.st_mode):
        raise FileProblem("it is a folder; give a file in it")
    what = next((words for test, words in _KINDS if test(found.st_mode)), "no plain file")
    raise FileProblem(f"it is {what}, not a file; copy what it holds into a file and give that")


def status(path: Path) -> os.stat_result:
    """The status of what lies at a path, links followed. Raises FileProblem where there is nothing or it can't be read."""
    written = str(path)
    if "\0" in written:
        raise FileProblem("its path holds a zero byte; write the path again")
    if len(written) > LONGEST_PATH:
        raise FileProblem(f"its path is {len(written)} letters long, more than any system accepts; give a shorter one")
    try:
        return path.stat()
    except FileNotFoundError:
        raise FileProblem(_why_missing(path)) from None
    except NotADirectoryError:
        raise FileProblem(f'"{shown(_file_among_folders(path))}" in its path is a file, not a folder; check the path') from None
    except PermissionError:
        raise FileProblem(f'the folder "{shown(path.parent)}" can\'t be opened; check its permissions') from None
    except RuntimeError:  # how older Pythons say that links lead round in a circle
        raise FileProblem("it is a link that leads back to itself; give the file itself") from None
    except (OSError, ValueError) as error:
        raise FileProblem(_why_unseen(path, error)) from None


def is_there(path: Path) -> bool:
    """Whether anything lies there, links followed."""
    try:
        status(path)
    except FileProblem:
        return False
    return True


def is_plain(path: Path) -> bool:
    """Whether a plain file lies there."""
    try:
        plain_file(path)
    except FileProblem:
        return False
    return True


def lies_within(path: Path, folder: Path) -> bool:
    """Whether a path, its links followed, ends in the folder or below it."""
    try:
        return path.resolve().is_relative_to(folder.resolve())
    except (OSError, RuntimeError, ValueError):
        return False


def near_names(path: Path, most: int = 3) -> list[str]:
    """Names in the path's folder that resemble its own, the closest first."""
    try:
        names = sorted(entry.name for entry in os.scandir(path.parent))
    except (OSError, ValueError):
        return []
    plain = {name.casefold(): name for name in reversed(names)}
    import difflib  # only for words about a mistake, and Blender's start need not

    return [plain[near] for near in difflib.get_close_matches(path.name.casefold(), list(plain), most, 0.6)]


def shown(path: Path | str) -> str:
    """A path for a message, its middle left out where it is long."""
    words = str(path)
    return words if len(words) <= 160 else f"{words[:60]} ... {words[-60:]}"


def _why_missing(path: Path) -> str:
    if path.is_symlink():
        return f'it is a link to "{shown(os.readlink(path))}", which is not there; give the file itself'
    folder = path.parent
    if not folder.is_dir():
        return f'there is no folder "{shown(folder)}"; check the path'
    near = near_names(path)
    hint = f"; did you mean {' or '.join(f'{chr(34)}{name}{chr(34)}' for name in near)}?" if near else "; check the path"
    return f'there is no such file in "{shown(folder)}"{hint}'


def _file_among_folders(path: Path) -> str:
    for folder in path.parents:
        if folder.exists() and not folder.is_dir():
            return str(folder)
    return str(path.parent)


def _why_unseen(path: Path, error: Exception) -> str:
    words = (getattr(error, "strerror", None) or str(error)).lower()
    if "symbolic" in words or "loop" in words:
        return "it is a link that leads back to itself; give the file itself"
    if "too long" in words:
        longest = max(len(part.encode("utf-8", "surrogateescape")) for part in path.parts)
        return f"its path is too long for this system (one name has {longest} bytes); give a shorter one"
    return f"it can't be looked at ({words}); check the path"
