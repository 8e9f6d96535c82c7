"""Lets one run at a time work in a folder, and tells of a run that was killed there.

The lock is the system's own on an open file: it ends with the process that holds it, however that ends, so a dead run leaves
nothing stuck. The file says who holds it and how far the run is; one that is found unlocked is of a run that did not end well.
"""

from __future__ import annotations

import contextlib
import os
from collections.abc import Iterator
from pathlib import Path

from ...job.errors import OutputError

try:
    import fcntl
except ImportError:  # Windows has locks of another kind
    fcntl = None  # type: ignore[assignment]

LOCK = ".bozzetto.lock"
DRAFTS = ".*.draft.*"
"""The pattern of names of files that were not finished being written (`job/files/whole_files.py`)."""

WRITTEN_TO = ("pictures", "turntable", "samples", "relief", "hand_over")
"""The folders that a job makes in its own."""


class FolderLock:
    """The lock of a folder that this run holds. `left` says where an earlier run was when it was killed, or is ''."""

    def __init__(self, handle: int, path: Path, left: str):
        self._handle = handle
        self._path = path
        self.left = left

    def at(self, words: str) -> None:
        """Write down how far the run is, to be read if it is killed."""
        with contextlib.suppress(OSError):
            os.ftruncate(self._handle, 0)
            os.pwrite(self._handle, f"{os.getpid()}\n{words}\n".encode(), 0)


@contextlib.contextmanager
def locked(folder: Path) -> Iterator[FolderLock | None]:
    """Hold the folder inside the block. Raises OutputError where another run works in it.

    None, and no lock, where the system or the disk has none to give.
    """
    if fcntl is None:
        yield None
        return
    path = folder / LOCK
    handle, left = _taken(path)
    if handle is None:
        yield None
        return
    try:
        lock = FolderLock(handle, path, left)
        lock.at("the start")
        yield lock
    finally:
        with contextlib.suppress(OSError):
            path.unlink()  # while it is still held, so that nobody's new lock is taken away
        os.close(handle)


def _taken(path: Path) -> tuple[int | None, str]:
    """The open and locked file, and what an earlier run left in it."""
    while True:
        try:
            handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o644)
        except OSError:
            return None, ""  # `writable` has tried the folder before; a disk that fails now says so when it is written to
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = _read(handle).partition("\n")[0]
            os.close(handle)
            who = f"Another run (process {holder})" if holder else "Another run"
            raise OutputError(
                f'{who} is at work in "{path.parent}": wait until it has ended, or choose another folder'
            ) from None
        except OSError:  # a network disk without locks
            os.close(handle)
            return None, ""
        try:
            if os.stat(path).st_ino == os.fstat(handle).st_ino:
                return handle, _read(handle).partition("\n")[2].strip()
        except FileNotFoundError:
            pass
        os.close(handle)  # the run that held it has just ended and taken the file away: try again


def _read(handle: int) -> str:
    return os.pread(handle, 4096, 0).decode("utf-8", "replace")


def clear_drafts(folder: Path) -> None:
    """Remove the half-written drafts that a killed run left in the folders that a job writes to. Call it under the lock.

    Only files that are called as drafts are: hidden, with `draft` before the suffix.
    """
    for place in (folder, *(folder / name for name in WRITTEN_TO), *folder.glob("brackets/*")):
        for path in place.glob(DRAFTS):
            if path.is_file() and not path.is_symlink():
                with contextlib.suppress(OSError):
                    path.unlink()
